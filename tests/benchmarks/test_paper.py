"""What a printed sheet costs beside the layout itself: the program's way against the same HTML laid out at once."""

import statistics
import time
from typing import Any

import pytest
from flask.testing import FlaskClient

from app.documents import papers
from app.documents.worker import lay_out

pytestmark = pytest.mark.paper
MOST_TIMES_THE_LAYOUT = 1.2
ROUNDS = 7


def test_a_batch_sheet_costs_little_more_than_its_layout(
    benchmark: Any, demo_client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    laid_out: list[str] = []
    to_pdf = papers.to_pdf

    def noting(html: str) -> bytes:
        laid_out.append(html)
        return to_pdf(html)

    monkeypatch.setattr(papers, "to_pdf", noting)

    def ask() -> bytes:
        return demo_client.get("/formulas/2/batch-sheet.pdf").data

    assert ask().startswith(b"%PDF")
    lay_out(laid_out[0])
    bare_s = statistics.median(timed(laid_out[0]) for _ in range(ROUNDS))
    benchmark.pedantic(ask, rounds=ROUNDS, warmup_rounds=1)
    assert len(set(laid_out)) == 1
    assert benchmark.stats["median"] <= MOST_TIMES_THE_LAYOUT * bare_s


def timed(html: str) -> float:
    started = time.perf_counter()
    lay_out(html)
    return time.perf_counter() - started
