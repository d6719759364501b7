"""The examples in docstrings say what is so, and the benchmarks, which run apart, still find what they measure."""

import doctest
import importlib
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
BENCHMARKS = sorted((ROOT / "tests" / "benchmarks").glob("test_*.py"))
MODULES = [path for path in sorted((ROOT / "app").rglob("*.py")) if ">>> " in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_examples_of_a_module_hold(path: Path) -> None:
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0


@pytest.mark.parametrize("path", BENCHMARKS, ids=lambda path: path.stem)
def test_a_benchmark_finds_what_it_measures(path: Path) -> None:
    module = runpy.run_path(str(path))
    assert any(name.startswith("test_") for name in module)
