"""From an order to the ledger in a real browser: receive it with a certificate, weigh out of two lots, see it all."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import select

from app.store.engine import Store
from app.store.stock import Document, Lot
from app.work.stock.ledger import check_ledger

pytestmark = pytest.mark.browser


def test_an_order_becomes_lots_with_a_certificate_and_a_batch_takes_from_two(
    visit: Callable[..., Page], store: Store, gel: Any, tmp_path: Path
) -> None:
    paper = tmp_path / "certificate.pdf"
    paper.write_bytes(b"%PDF-1.4 certificate of glycerin")
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
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("link", name="certificate.pdf")).to_be_visible()

    page.goto(page.url.partition("/stock")[0] + f"/batches/{gel.batch_id}")
    with store.reading() as session:
        codes = [lot.code for lot in session.scalars(select(Lot).order_by(Lot.id))]
    for grams, code in (("10", codes[0]), ("5", codes[1])):
        page.get_by_label("of Glycerin, vegetable").first.fill(grams)
        page.get_by_label("Lot of Glycerin, vegetable").fill(code)
        page.get_by_label("Weighed by").fill("Ines")
        page.get_by_role("button", name="Save weights").click()
    expect(page.get_by_text(f"lot {codes[1]}").first).to_be_visible()

    with store.reading() as session:
        assert [lot.on_hand for lot in session.scalars(select(Lot).order_by(Lot.id))] == [0, 5]
        document = session.scalars(select(Document)).one()
    assert document.sha256 == hashlib.sha256(paper.read_bytes()).hexdigest()
    assert check_ledger(store)[1] == []
