"""Materials in a real browser: search as typed, a composition by keyboard, and no serious fault on any page."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from app.store.engine import Store
from app.work import equipment
from app.work.materials import shelf
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price

pytestmark = pytest.mark.browser

Visit = Callable[..., Page]
BLEND = MaterialForm(
    "Honey in glycerin, a blend with a rather long name for a small screen",
    density="1.2",
    parts=(PartForm("Glycerin", "60-80", "56-81-5"), PartForm("Mel", "20", allergens="Limonene 1")),
)


@pytest.fixture
def blend(store: Store) -> int:
    material_id = shelf.add_material(store, BLEND)
    add_price(store, material_id, PriceForm("12.40", "8 oz", "2026-03-05"))
    equipment.SCALES.add(store, equipment.ScaleForm("Bench", "0.1", "2 kg"))
    equipment.PACKAGING.add(store, equipment.PackagingForm("Jar", "48", "52.80"))
    return material_id


@pytest.mark.usefixtures("blend")
def test_the_list_follows_what_is_typed_and_the_caret_stays(visit: Visit) -> None:
    page = visit("/materials")
    page.locator("#q").press_sequentially("honey glyserin", delay=15)
    page.wait_for_url("**/materials?q=honey+glyserin")
    expect(page.locator("#count")).to_contain_text(
        "1 on your shelf, 1 more in the library, spelled a little differently"
    )
    expect(page.locator("#q")).to_be_focused()
    page.reload()
    expect(page.locator("#count")).to_contain_text("1 on your shelf")


def test_a_composition_is_entered_by_keyboard_and_summed_as_it_is_typed(visit: Visit, store: Store) -> None:
    page = visit("/materials/new")
    page.locator("#name").fill("Syrup")
    page.locator("#part-0-inci").fill("Glyc")
    expect(page.locator('#inci-names option[value="Glycerin"]')).to_have_count(1)
    page.locator("#part-0-inci").fill("Glycerin")
    expect(page.locator("#part-0-cas")).to_have_value("56-81-5")
    page.locator("#part-0-percent").fill("30-50")
    expect(page.locator("#sum")).to_contain_text("60 % is missing")
    page.locator("#part-0-percent").press("Enter")
    page.locator("#part-1-percent").press("Enter")
    expect(page.locator("#part-2-percent")).to_be_focused()
    page.locator("#part-2-inci").fill("Aqua")
    page.locator("#part-2-percent").fill("60")
    expect(page.locator("#sum")).to_contain_text("Adds up to 100 %.")
    page.locator('tr[data-row="2"] .drop').click()
    expect(page.locator("#sum")).to_contain_text("60 % is missing")
    page.locator("#removed button").click()
    expect(page.locator("#sum")).to_contain_text("Adds up to 100 %.")
    page.locator(".main-button").click()
    expect(page.locator("h1")).to_have_text("Syrup")
    assert [part.inci for part in shelf.load_material(store, 1).parts] == ["Glycerin", "Aqua"]


def test_the_summary_of_faults_takes_the_focus(visit: Visit) -> None:
    page = visit("/materials/new")
    page.locator(".main-button").click()
    expect(page.locator("#faults")).to_be_focused()


def test_the_next_batch_number_follows_the_pattern(visit: Visit) -> None:
    page = visit("/workshop")
    page.locator("#batch_number_pattern").fill("B{count:4}")
    expect(page.locator("#number-example")).to_contain_text("B0001")


@pytest.mark.usefixtures("blend")
def test_without_script_the_same_form_adds_up_by_a_button(visit: Visit) -> None:
    page = visit("/materials/1/edit", java_script_enabled=False)
    page.locator("#part-1-percent").fill("25")
    page.get_by_role("button", name="Add up again").click()
    expect(page.locator("#sum")).to_contain_text("5 % is missing")
    page.get_by_role("button", name="Fill up with water").click()
    expect(page.locator("#sum")).to_contain_text("Adds up to 100 %.")
