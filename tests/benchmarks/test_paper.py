"""What a paper costs beside the layout itself: the program's way against the same HTML laid out at once."""

import gc
import io
import re
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.documents import dossier, label_papers, papers
from app.documents.worker import lay_out

pytestmark = pytest.mark.paper
MOST_TIMES_THE_LAYOUT = 1.2
ROUNDS = 7
SHEET = "A4, 24 labels of 70 x 37 mm"


def compare(benchmark: Any, monkeypatch: pytest.MonkeyPatch, place: Any, ask: Callable[[], bytes], rounds: int) -> str:
    """Hold the program's way to the same HTML laid out at once, and return that HTML."""
    laid_out: list[str] = []
    to_pdf = place.to_pdf

    def noting(html: str, **more: Any) -> bytes:
        laid_out.append(html)
        return to_pdf(html, **more)

    monkeypatch.setattr(place, "to_pdf", noting)
    assert ask().startswith(b"%PDF")
    lay_out(laid_out[0])
    bare_s = statistics.median(timed(laid_out[0]) for _ in range(rounds))
    benchmark.pedantic(ask, rounds=rounds, warmup_rounds=1)
    assert len(set(laid_out)) == 1
    assert benchmark.stats["median"] <= MOST_TIMES_THE_LAYOUT * bare_s
    return laid_out[0]


def timed(html: str) -> float:
    """Lay a page out with memory swept as in a process of its own: the tests sweep theirs more rarely."""
    kept = gc.get_threshold()
    gc.set_threshold(700, 10, 10)
    started = time.perf_counter()
    lay_out(html)
    taken = time.perf_counter() - started
    gc.set_threshold(*kept)
    return taken


def test_a_batch_sheet_costs_little_more_than_its_layout(
    benchmark: Any, demo_client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ask() -> bytes:
        return demo_client.get("/formulas/2/batch-sheet.pdf").data

    compare(benchmark, monkeypatch, papers, ask, ROUNDS)


def test_24_labels_on_a_sheet_cost_little_more_than_their_layout(
    benchmark: Any, demo_client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo_client.post("/label-sheets/common", data={"common": SHEET})
    sheet = re.search(r"/label-sheets/(\d+)/calibration", demo_client.get("/label-sheets").text)
    assert sheet
    shown = dict.fromkeys(("identity", "content", "ingredients", "responsible", "keeping", "batch", "warnings"), "yes")
    demo_client.post("/products/1/labels", data={"name": "Whole", "sheet": sheet[1], "key": "k", **shown})

    def ask() -> bytes:
        return demo_client.get("/labels/1.pdf?count=24").data

    html = compare(benchmark, monkeypatch, label_papers, ask, ROUNDS)
    assert html.count("<g transform") >= 24


def test_a_dossier_of_twenty_pages_costs_little_more_than_its_layout(
    benchmark: Any, demo_client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    values = dossier.dossier_values

    def long(found: Any) -> dict[str, Any]:
        return values(replace(found, substances=found.substances * 18, materials=found.materials * 12))

    monkeypatch.setattr("app.web.products.dossiers.dossier_values", long)

    def ask() -> bytes:
        return demo_client.get("/products/2/dossier.pdf").data

    compare(benchmark, monkeypatch, papers, ask, 3)
    assert len(PdfReader(io.BytesIO(ask())).pages) >= 20
