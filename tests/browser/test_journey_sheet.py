"""The way of a newcomer: the first start, a formula changed, its sheet printed, a batch planned and taken down."""

import io
import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader
from sqlalchemy import select

from app.store.engine import Store
from app.store.stock import Lot
from app.store.workshop import the_workshop

pytestmark = pytest.mark.browser


@pytest.fixture
def store(demo: Store) -> Store:
    """The pages are opened on the demonstration workshop."""
    return demo


@pytest.mark.paper
def test_the_first_run_ends_with_a_printed_sheet(
    chromium: Browser, serve: Callable[..., object], demonstration_in: Callable[[Path], Path], tmp_path: Path
) -> None:
    served = serve(demonstration_in(tmp_path / "first run"), "serve")
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


def grams_of(page: Page) -> str:
    return page.locator(".weigh-target").inner_text().removesuffix("g").strip()


def codes_on_shelf(store: Store) -> dict[str, str]:
    """Return a lot that may be weighed from for each material by its name; water has none and gets that of the day."""
    with store.reading() as session:
        held = session.scalars(select(Lot).where(Lot.material_id.is_not(None), Lot.on_hand > Decimal(50)))
        return {lot.name: lot.code for lot in held if not lot.why_not(date(2026, 10, 1))}


def code_for(codes: dict[str, str], text: str) -> str:
    return next((code for name, code in codes.items() if name in text), "")


def weigh_now(page: Page, codes: dict[str, str], grams: str = "") -> None:
    """Weigh the line that the bench shows, as planned or otherwise, and see the next one."""
    left = page.locator(".headline .soft").last.inner_text()
    page.locator("input[name^=lot-]").fill(code_for(codes, page.locator("#now").inner_text()))
    page.locator("input[name^=actual-]").fill(grams or grams_of(page))
    page.get_by_label("Weighed by").fill("Ines")
    page.get_by_role("button", name="Save and continue").click()
    expect(page.locator(".headline .soft").last).not_to_have_text(left)


def weight_is_typed_on_the_first_screen_of_a_phone(page: Page) -> None:
    """See the field for the weight on the screen with the cautions of its phase above it."""
    before = page.viewport_size
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.locator(".care li").count() >= 1
    field = page.locator("input[name^=actual-]").bounding_box()
    assert field
    assert field["y"] + field["height"] <= 844
    assert before
    page.set_viewport_size(before)


def test_a_batch_goes_from_its_plan_to_its_release_by_a_second_person(visit: Callable[..., Page], store: Store) -> None:
    with store.transaction() as session:
        the_workshop(session).two_people = True
    page = visit("/batches/new?formula=1", width=820)
    page.get_by_label("Amount to make").fill("300 g")
    page.get_by_label("Made by").fill("Ines")
    page.get_by_role("button", name="Plan batch and give it a number").click()
    expect(page.get_by_role("heading", name=re.compile("Batch HG-2026-002"))).to_be_visible()
    record = page.url
    page.get_by_role("link", name="Weigh line by line").click()
    codes = codes_on_shelf(store)
    weight_is_typed_on_the_first_screen_of_a_phone(page)
    weigh_now(page, codes, str(Decimal(grams_of(page)) - 20))
    page.get_by_role("link", name="Correct it").click()
    page.get_by_label("Weight, g").fill("277.9")
    page.get_by_label("Reason").fill("misread")
    page.get_by_role("button", name="Record correction").click()
    row = page.get_by_role("row", name=re.compile("Water, purified"))
    expect(row.locator(".weighed")).to_contain_text("277.9 g")
    expect(page.locator(".state").first).to_have_text("in process")
    page.goto(f"{record}/weigh")
    while page.locator(".weigh-target").count():
        is_glycerin = "Glycerin" in page.locator("#now").inner_text()
        weigh_now(page, codes, str(Decimal(grams_of(page)) + 1) if is_glycerin else "")
    page.goto(record)
    expect(page.locator("#rescue")).to_contain_text("Glycerin, vegetable")
    page.get_by_role("button", name="Raise every line").click()
    expect(page.locator(".flashes")).to_contain_text("Every line is raised")
    for line in page.locator(".bench-table tbody tr").all():
        missing = Decimal(line.locator(".planned").inner_text()) - Decimal(
            line.locator(".weighed strong").inner_text().removesuffix("g").strip()
        )
        if missing > 0:
            line.locator("input[name^=actual]").fill(str(missing))
            line.locator("input[name^=lot]").fill(code_for(codes, line.inner_text()))
    page.get_by_role("button", name="Save weights").click()
    expect(page.locator("#rescue")).to_have_count(0)
    page.get_by_label("Read or seen").fill("6.0")
    page.get_by_role("button", name="Record reading").click()
    page.get_by_label("Yield, g").fill("322")
    page.get_by_role("button", name="Record yield").click()
    expect(page.locator("#decide li")).to_have_count(1)
    page.locator("#deviations summary", has_text="Decide").click()
    for words, text in (
        ("Cause", "a heavy hand"),
        ("Effect on the product", "none"),
        ("Action and decision", "raised"),
    ):
        page.locator("#deviations .open").get_by_label(words).fill(text)
    page.get_by_role("button", name="Record decision").click()
    page.locator("#decide-who").fill("Ines")
    page.get_by_role("button", name="Release batch").click()
    expect(page.locator("#decide-who-fault")).to_contain_text("somebody else has to release it")
    page.locator("#decide-who").fill("Tom")
    page.get_by_role("button", name="Release batch").click()
    expect(page.locator(".state").first).to_have_text("released")
    expect(page.get_by_role("button", name="Save weights")).to_have_count(0)


def test_on_a_phone_the_field_of_a_weight_is_in_sight_beside_its_material(visit: Callable[..., Page]) -> None:
    page = visit("/batches/4", width=390)
    for field in page.locator(".bench-table input").all():
        box = field.bounding_box()
        assert box
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
        assert box["height"] >= 48
