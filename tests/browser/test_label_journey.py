"""From a pasted list to a formula and its batch sheet, in a real browser."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from app.store.engine import Store
from app.work.equipment import SCALES, ScaleForm
from app.work.label_reading.choosing import Choices
from app.work.label_reading.lists import ListForm, start_list
from app.work.label_reading.starting import StartForm, start_formula

pytestmark = pytest.mark.browser

NAMES = (
    "Aqua", "Glycerin", "Caprylic/Capric Triglyceride", "Helianthus Annuus Seed Oil", "Cetearyl Alcohol",
    "Butyrospermum Parkii Butter", "Glyceryl Stearate", "Urea", "Squalane", "Panthenol", "Sodium Lactate",
    "Propanediol", "Niacinamide", "Betaine", "Xanthan Gum", "Tocopherol", "Phenoxyethanol", "Ethylhexylglycerin",
    "Allantoin", "Sodium Hyaluronate", "Citric Acid", "Sodium Hydroxide", "Parfum", "Limonene", "Linalool",
)  # fmt: skip
LIST = ", ".join(NAMES)


@pytest.fixture
def cream(store: Store) -> int:
    return start_list(store, ListForm("Invented cream", LIST, "leave-on cream"))


def fields(page: Page) -> dict[str, str]:
    rows = page.locator(".working tbody tr")
    return {rows.nth(n).locator("th a").inner_text(): f"value-{n}" for n in range(rows.count())}


def test_a_list_of_25_names_becomes_a_formula_with_a_batch_sheet(visit: Callable[..., Page], store: Store) -> None:
    SCALES.add(store, ScaleForm(name="Bench", readability="0.01 g", capacity="2 kg"))
    page = visit("/read-a-label")
    page.get_by_label("Title").fill("Invented cream")
    page.get_by_label("Ingredient list").fill(LIST)
    page.get_by_label("Kind of product").fill("leave-on cream")
    page.get_by_role("button", name="Read it").click()
    expect(page.locator(".strip-svg")).to_have_count(25)
    places = fields(page)
    page.locator(f"#{places['Urea']}").fill("5")
    page.locator(f"#{places['Xanthan Gum']}").fill("0,2-0,4")
    expect(page.locator("#state")).to_have_text("Worked out with what you know.")
    expect(page.locator(f"#likely-{places['Urea'].split('-')[1]}")).to_have_text("5 %")
    expect(page.locator(f"#bounds-{places['Xanthan Gum'].split('-')[1]}")).to_have_text("0.2 to 0.4 %")
    page.reload()
    expect(page.locator(f"#{places['Urea']}")).to_have_value("5")
    page.get_by_role("link", name="Start a formula").click()
    page.get_by_label("Name of the formula").fill("My own cream")
    page.get_by_role("button", name="Start the formula").click()
    expect(page.locator("h1")).to_have_text("My own cream beside the list")
    expect(page.locator(".pair-same-order")).not_to_have_count(0)
    page.get_by_role("link", name="Open the formula").click()
    expect(page.locator("#total")).to_contain_text("100")
    page.get_by_role("link", name="Batch sheet", exact=True).click()
    expect(page).to_have_url(re.compile(r"/formulas/\d+/batch-sheet"))
    expect(page.locator("h1")).to_contain_text("My own cream")
    expect(page.locator("main")).to_contain_text("Urea")


def test_a_value_that_cannot_be_read_is_told_beside_it_and_freeing_mends_it(
    visit: Callable[..., Page], cream: int
) -> None:
    page = visit(f"/read-a-label/{cream}")
    page.locator("#value-7").fill("lots")
    expect(page.locator("#value-7-fault")).to_be_visible()
    expect(page.locator("#value-7")).to_have_attribute("aria-invalid", "true")
    page.get_by_role("button", name="Free Urea").click()
    expect(page.locator("#value-7-fault")).to_be_hidden()
    expect(page.locator("#value-7")).to_be_focused()
    expect(page.get_by_role("button", name="Free Urea")).to_be_hidden()


def test_a_clash_is_told_while_typing_and_given_up_by_a_button(visit: Callable[..., Page], cream: int) -> None:
    page = visit(f"/read-a-label/{cream}")
    page.locator("#value-0").fill("20")
    page.locator("#value-1").fill("40")
    expect(page.locator("#clashes")).to_contain_text("These cannot hold together")
    page.locator(".ways-out li", has_text="Glycerin is 40 %").get_by_role("button", name="Give up").click()
    expect(page.locator("#clashes")).not_to_contain_text("These cannot hold together")
    expect(page.locator("#value-1")).to_have_value("")


def work_it_out(page: Page) -> None:
    with page.expect_navigation(wait_until="load"):
        page.get_by_role("button", name="Calculate with these").click()


def test_the_same_works_without_script(visit: Callable[..., Page], cream: int) -> None:
    page = visit(f"/read-a-label/{cream}", java_script_enabled=False)
    page.locator("#value-7").fill("5")
    work_it_out(page)
    expect(page.locator("#likely-7")).to_have_text("5 %")
    page.locator("#value-7").fill("")
    work_it_out(page)
    expect(page.locator("#value-7")).to_have_value("")
    expect(page.locator("#likely-7")).not_to_have_text("5 %")


@pytest.mark.parametrize(("width", "scheme"), [(320, "dark")])
def test_axe_finds_nothing_serious(
    visit: Callable[..., Page], axe: Callable[[Page], list[str]], store: Store, cream: int, width: int, scheme: str
) -> None:
    formula_id = start_formula(store, cream, Choices(), StartForm("My own cream"))
    page = visit("/read-a-label", width=width, color_scheme=scheme)
    start = page.url
    for path in ("", f"/{cream}", f"/{cream}/edit", f"/{cream}/teach?printed=Urea", f"/{cream}/start",
                 f"/{cream}/compare/{formula_id}", "/photo", f"/{cream}/beside?other={cream}"):  # fmt: skip
        page.goto(start + path)
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
