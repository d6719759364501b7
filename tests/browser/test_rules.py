"""The checks in a real browser: a stop while typing, an answer, and the question asked again after a change."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material

pytestmark = pytest.mark.browser


@pytest.fixture
def formula(store: Store) -> int:
    for name in ("Aqua", "Sodium Benzoate", "Parfum"):
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))
    lines = (
        DraftLine("w", "a", "Aqua", qs=True),
        DraftLine("b", "a", "Sodium Benzoate", None, "0.4"),
        DraftLine("p", "a", "Parfum", None, "0.2"),
    )
    draft = Draft(phases=(DraftPhase("a"),), lines=lines, product_type="hand cream", target_ph="4.8")
    return create(store, "Hand cream", content=draft)


def type_amount(page: Page, amount: str) -> None:
    page.locator("[id='line.b.amount']").fill(amount)
    expect(page.locator("#state")).to_have_text(re.compile(r"^Saved \d\d:\d\d"))


def test_a_stop_appears_is_answered_and_is_asked_again(visit: Callable[..., Page], formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    checks = page.locator("[data-body='checks']")
    page.locator("#note-checks > summary").click()
    expect(checks).to_be_visible()
    expect(checks.locator(".finding.stop")).to_have_count(0)
    gaps = checks.locator("#s-gaps")
    gaps.locator("summary").click()
    page.locator("[id='line.b.amount']").fill("1")
    expect(checks.locator(".finding.stop")).to_contain_text("over the limit of 0.5 %")
    expect(gaps).to_have_attribute("open", "")
    expect(page.locator("#state")).to_have_text(re.compile(r"^Saved \d\d:\d\d"))
    checks.get_by_role("link", name="Answer and print").click()
    asked = page.locator("article.asked").first
    asked.get_by_text("Answer this").click()
    asked.get_by_label("Why it is acceptable").fill("A trial on the bench, not for sale.")
    asked.get_by_label("Who").fill("Ines")
    asked.get_by_role("button", name="Save the answer").click()
    expect(page.locator("article.asked").first).to_contain_text("A trial on the bench, not for sale.")
    page.reload()
    expect(page.locator("article.asked").first).to_contain_text("Answered by Ines")
    page.goto(page.url.split("/checks")[0])
    page.locator("#note-checks > summary").click()
    expect(checks.locator("#s-answered summary").first).to_have_text("1 answered")
    expect(checks.locator(":scope > .finding.stop")).to_have_count(0)
    type_amount(page, "1.1")
    expect(checks.locator(":scope > .finding.stop")).to_have_count(1)
    expect(checks.locator("#s-answered")).to_have_count(0)
