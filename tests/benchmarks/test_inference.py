"""Timings of the inference, once loaded (pytest tests/benchmarks)."""

import json
import time
from collections.abc import Callable

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.optimize import linprog

from app.commands.compute import answer
from app.reference.inference_prior import class_of, class_priors
from app.reference.library import substances
from app.science.inference.hard_bounds import hard_bounds


def printed(count: int) -> list[str]:
    """A list of so many shipped names, water first, as a label would order them."""
    names = [s.inci for key, s in substances().items() if key != "AQUA" and class_of(key) != "colour"]
    chosen = names[:: len(names) // (count - 1)][: count - 1]
    table = class_priors()
    return ["Aqua", *sorted(chosen, key=lambda n: -table.of(class_of(n.upper())).median_percent)]


@pytest.mark.parametrize(("count", "most_ms"), [(12, 50), (30, 150), (60, 500)])
def test_a_list_is_answered_quickly(benchmark: BenchmarkFixture, count: int, most_ms: float) -> None:
    request = json.dumps({"ingredients": printed(count)})
    found = json.loads(benchmark(answer, "infer", request))
    assert len(found["ingredients"]) == count
    assert benchmark.stats.stats.median * 1000 < most_ms


def test_a_contradiction_is_answered_in_a_second(benchmark: BenchmarkFixture) -> None:
    names = ["Aqua", "Potassium Sorbate", *printed(30)[1:]]
    request = json.dumps({"ingredients": names, "claims": {names[2]: 5}})
    found = json.loads(benchmark.pedantic(answer, ("infer", request), rounds=3))
    assert found["conflicts"]
    assert benchmark.stats.stats.median < 1


def seconds(work: Callable[[], object], rounds: int) -> float:
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def test_hard_bounds_are_twenty_times_faster_than_one_programme_a_bound() -> None:
    count = 12
    low, high = np.zeros(count), np.full(count, 100.0)

    def by_programmes() -> None:
        for above in range(1, count + 1):
            rows = np.diff(np.eye(count), axis=0)[: above - 1]
            box = [(1.0, 100.0)] * above + [(0.0, 1.0)] * (count - above)
            order = (rows, np.zeros(len(rows))) if len(rows) else (None, None)
            for sign in (1.0, -1.0):
                for i in range(count):
                    linprog(sign * np.eye(count)[i], *order, np.ones((1, count)), [100.0], box)

    closed = seconds(lambda: hard_bounds(low, high, np.arange(count)), 5)
    assert seconds(by_programmes, 1) > 20 * closed
