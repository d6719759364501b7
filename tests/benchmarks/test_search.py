"""Search as you type in 5,000 materials answers within 50 ms; the library and its index stand within 0.5 s."""

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from app.reference.inci_names import inci_names
from app.reference.search import Index, SearchEntry, build_index, search

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def shelf() -> Index[int]:
    chosen = random.Random(5000).sample(sorted(inci_names()), 5000)  # noqa: S311
    names = [inci_names()[key] for key in chosen]
    cas = [(n.cas,) if n.cas else () for n in names]
    return build_index(
        SearchEntry(i, n.inci.title(), (n.inci,), c, n.functions)
        for i, (n, c) in enumerate(zip(names, cas, strict=True))
    )


TYPED = ["a", "so", "sod", "sodium", "sodium benz", "sodum benzoate", "phenoxyetanol", "extract skin", "oil", "7732-18"]


@pytest.mark.parametrize("text", [*TYPED, "hydrolized weat protien extrakt", "skin conditioning emollient humectant"])
def test_a_query_over_5000_materials(benchmark: BenchmarkFixture, shelf: Index[int], text: str) -> None:
    benchmark(search, shelf, text)
    assert benchmark.stats.stats.median < 0.050


def test_the_index_of_5000_materials(benchmark: BenchmarkFixture, shelf: Index[int]) -> None:
    benchmark.pedantic(build_index, args=(shelf.entries,), rounds=3)
    assert benchmark.stats.stats.median < 1


def test_the_library_and_its_index_in_a_new_process() -> None:
    code = (
        "from app.reference.materials import library_materials as m\n"
        "from app.reference.search import SearchEntry, build_index\n"
        "build_index(SearchEntry(x.key, x.name, x.inci_names, x.cas_numbers, x.functions) for x in m())"
    )
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
    assert time.perf_counter() - start < 0.5
