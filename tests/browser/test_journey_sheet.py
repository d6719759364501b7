"""The way of a newcomer: the first start, a formula changed, its sheet printed, a batch planned and taken down."""

import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from app.store.engine import Store

pytestmark = pytest.mark.browser


@pytest.fixture
def store(demo: Store) -> Store:
    """The pages are opened on the demonstration workshop."""
    return demo


@pytest.mark.paper
def test_the_first_run_ends_with_a_printed_sheet(
    chromium: Browser, serve: Callable[..., object], tmp_path: Path
) -> None:
    served = serve(tmp_path / "first run", "demo")
    page = chromium.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(served.address)  # type: ignore[attr-defined]
    expect(page.get_by_role("heading", name="Millrace Yard")).to_be_visible()
    page.get_by_role("link", name=re.compile("Workbench hand gel")).first.click()
    glycerin = page.get_by_label("% w/w of Glycerin, vegetable")
    glycerin.fill("5")
    expect(page.locator("#total")).to_contain_text("88.85")
    page.get_by_role("link", name="Batch sheet").click()
    expect(page.get_by_role("row", name=re.compile("Glycerin, vegetable"))).to_contain_text("30.93")
    address = page.get_by_role("link", name="Open as PDF").get_attribute("href") or ""
    answer = page.request.get(f"{served.address.rstrip('/')}{address}")  # type: ignore[attr-defined]
    text = " ".join(p.extract_text() for p in PdfReader(io.BytesIO(answer.body())).pages)
    assert "30.93" in text
    assert all(url.startswith(served.address.rstrip("/")) for url in asked)  # type: ignore[attr-defined]
    page.close()


def test_a_batch_is_planned_and_taken_down(visit: Callable[..., Page]) -> None:
    page = visit("/batches/new?formula=1", width=820)
    page.get_by_label("Amount to make").fill("300 g")
    page.get_by_label("Made by").fill("Ines")
    page.get_by_role("button", name="Plan batch and give it a number").click()
    expect(page.get_by_role("heading", name=re.compile("Batch HG-2026-002"))).to_be_visible()
    page.get_by_label("Grams of Water, purified").fill("277,9")
    page.get_by_label("Lot of Water, purified").fill("W-9")
    page.get_by_label("Weighed by").fill("Ines")
    page.get_by_role("button", name="Save weights").click()
    expect(page.get_by_role("row", name=re.compile("Water, purified")).locator(".weighed")).to_contain_text("277.9 g")
    expect(page.locator(".state").first).to_have_text("in process")


def test_on_a_phone_the_field_of_a_weight_is_in_sight_beside_its_material(visit: Callable[..., Page]) -> None:
    page = visit("/batches/4", width=390)
    for field in page.locator(".bench-table input").all():
        box = field.bounding_box()
        assert box
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
        assert box["height"] >= 48
