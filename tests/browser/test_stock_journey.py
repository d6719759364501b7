"""From an order to a jar and back in a real browser: received, weighed, packed, sent out, and found by its code."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import select

from app.store.engine import Store
from app.store.stock import Document, Lot
from app.work.batches.planning import Plan, plan_batch
from app.work.stock.ledger import check_ledger
from app.work.stock.lots import DecisionForm, OutputForm, decide_lot, receive_output
from tests.work.tracing.graph import Graph

pytestmark = pytest.mark.browser
CUT = (Path(__file__).parent / "cut_text.js").read_text(encoding="utf-8")


def received_with_its_certificate(visit: Callable[..., Page], paper: Path) -> Page:
    """Order glycerin in two lines, receive both as lots, and keep a certificate with the first."""
    page = visit("/stock/orders/new")
    page.get_by_label("Supplier").fill("Quay Oils")
    page.get_by_label("By", exact=True).fill("Ines")
    for number in (1, 2):
        page.get_by_label(f"Item of line {number}").fill("Glycerin, vegetable")
        page.get_by_label(f"Amount of line {number}").fill("10 g")
    page.get_by_role("button", name="Save order").click()
    page.get_by_label("By", exact=True).fill("Per")
    page.get_by_label("Accept the lots now").check()
    page.get_by_role("button", name="Receive what is ticked").click()
    expect(page.get_by_text("2 lots received.")).to_be_visible()

    page.goto(page.url.partition("/stock")[0] + "/stock/documents/about/lot/1")
    page.get_by_label("File").set_input_files(paper)
    page.get_by_label("Kind of document").select_option("certificate of analysis")
    page.get_by_label("Added by").fill("Ines")
    page.get_by_role("button", name="Save document").click()
    expect(page.get_by_role("link", name="certificate.pdf")).to_be_visible()
    return page


def test_from_an_order_with_a_certificate_to_a_jar_and_back_to_every_lot(
    visit: Callable[..., Page], axe: Callable[[Page], list[str]], store: Store, gel: Any, tmp_path: Path
) -> None:
    paper = tmp_path / "certificate.pdf"
    paper.write_bytes(b"%PDF-1.4 certificate of glycerin")
    page = received_with_its_certificate(visit, paper)
    with store.reading() as session:
        codes = [lot.code for lot in session.scalars(select(Lot).order_by(Lot.id))]
    solution = plan_batch(store, Plan(gel.formula_id, None, "100 g", planned_on="2026-11-25", made_by="Ines"))
    of_house = OutputForm(code="LYE-10", amount="100 g", by="Ines")
    receive_output(store, solution, of_house, material_id=gel.materials["alkali"])
    decide_lot(store, 3, DecisionForm(state="accepted", by="Tom", why="own test"))
    page.goto(page.url.partition("/stock")[0] + f"/batches/{gel.batch_id}")
    for grams, code, name in (
        ("10", codes[0], "Glycerin, vegetable"), ("5", codes[1], "Glycerin, vegetable"),
        ("9", "LYE-10", "Sodium hydroxide 10 %"),
    ):  # fmt: skip
        page.get_by_label(f"of {name}").first.fill(grams)
        page.get_by_label(f"Lot of {name}").fill(code)
        page.locator("#who").fill("Ines")
        page.get_by_role("button", name="Save weights").click()
    expect(page.get_by_text(f"lot {codes[1]}").first).to_be_visible()

    with store.transaction() as session:
        graph = Graph(session, gel.materials["alkali"])
        graph.batches["ours"] = gel.batch_id
        graph.release()
        graph.pack("ours", 4, code="L26-330")
    page.goto(page.url.partition("/batches")[0] + "/trace/sent?batch=L26-330")
    page.get_by_label("Units").first.fill("3")
    page.get_by_label("Receiver", exact=True).fill("Corner Shop")
    page.get_by_label("How to reach them").fill("corner@shop.example")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("3 units of L26-330 written.")).to_be_visible()

    page.goto(page.url.partition("/trace")[0] + "/")
    page.get_by_label("Code on a jar, batch, lot").first.fill("l26-330")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Trace of batch")).to_be_visible()
    for words in (*codes, "LYE-10", "Quay Oils", "certificate.pdf", "Corner Shop"):
        expect(page.get_by_role("main")).to_contain_text(words)
    assert page.evaluate(CUT) == []
    assert axe(page) == []

    with store.reading() as session:
        assert [lot.on_hand for lot in session.scalars(select(Lot).order_by(Lot.id))] == [0, 5, 91]
        document = session.scalars(select(Document)).one()
    assert document.sha256 == hashlib.sha256(paper.read_bytes()).hexdigest()
    assert check_ledger(store)[1] == []
