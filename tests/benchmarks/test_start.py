"""How long a start takes to its first page, once the environment and the workshop are there: under two seconds."""

import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pytest_benchmark.fixture import BenchmarkFixture

LONGEST_SECONDS = 2.0


def test_second_start_to_first_page(benchmark: BenchmarkFixture, serve: Callable[..., Any], tmp_path: Path) -> None:
    assert serve(tmp_path, "serve").stop() == 0
    running: list[Any] = []

    def start() -> None:
        running.append(serve(tmp_path, "serve"))
        with urllib.request.urlopen(running[-1].address, timeout=20) as answer:
            answer.read()

    def stop() -> None:
        running.pop().stop()

    benchmark.pedantic(start, rounds=5, teardown=stop)
    assert benchmark.stats.stats.median < LONGEST_SECONDS
