"""A whole pH session in a real browser: gloves, reload, lost connection, restart, no script."""

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from app.store.engine import Store
from app.work.batches.loading import load_batch
from app.work.ph.sessions import SessionForm, look_at_session, start_session

pytestmark = pytest.mark.browser


def step_grams(page: Page) -> Decimal:
    return Decimal(page.locator(".ph-big").inner_text().split()[0])


def add(page: Page, grams: str) -> None:
    page.fill("#grams", grams)
    page.fill("#who", "Ines")
    page.get_by_role("button", name="Record addition").first.click()
    expect(page.locator("#now")).to_have_text("Stir, wait, measure")


def read_meter(page: Page, ph: str, temperature: str = "22") -> None:
    page.fill("#ph", ph)
    page.fill("#temperature", temperature)
    page.fill("#reading-who", "Ines")
    page.get_by_role("button", name="Record reading").click()
    if page.locator("#sure").count():
        page.check("#sure")
        page.get_by_role("button", name="Record reading").click()
    expect(page.locator("#now")).not_to_have_text("Stir, wait, measure")


# What could not be sent is tried again by then; the clock of the page is put forward.
TRIED_AGAIN_MS = 5000


def begin(store: Store, gel: Any) -> int:
    return start_session(store, gel.batch_id, SessionForm(str(gel.materials["alkali"]), "6.2", "491", "Ines"), key="s")


def weights(store: Store, gel: Any) -> dict[str, Decimal | None]:
    with store.reading() as session:
        return {one.name: one.actual_g for one in load_batch(session, gel.batch_id).lines}


def test_a_whole_session_to_a_record_in_quarantine_with_a_reload_in_the_middle(
    visit: Callable[..., Page], axe: Callable[[Page], list[str]], store: Store, gel: Any
) -> None:
    page = visit(f"/batches/{gel.batch_id}/ph", width=820)
    page.fill("#who", "Ines")
    page.get_by_role("button", name="Start the session").click()
    expect(page.locator("#now")).to_have_text("Add Sodium hydroxide 10 %")
    expect(page.locator(".care").first).to_contain_text("goggles")
    assert axe(page) == []
    first = step_grams(page)
    add(page, str(first))
    assert axe(page) == []
    page.fill("#ph", "5.3")
    page.reload()
    expect(page.locator("#ph")).to_have_value("5.3")
    read_meter(page, "5.3")
    second = step_grams(page)
    add(page, str(second))
    page.reload()
    expect(page.locator("#now")).to_have_text("Stir, wait, measure")
    read_meter(page, "6.15")
    expect(page.locator("#now")).to_contain_text("the target is met")
    assert page.locator(".drawing .fitted").count() == 1
    page.get_by_role("button", name="End the session").first.click()
    expect(page.locator(".flashes")).to_contain_text("has ended")
    page.fill('[id^="update-who"]', "Ines")
    page.get_by_role("button", name="Update the formula").click()
    expect(page.locator(".flashes")).to_contain_text("saved as a version")
    assert axe(page) == []
    page.goto(f"{page.url.split('/batches')[0]}/batches/{gel.batch_id}")
    expect(page.locator("#ph")).to_contain_text("Ines")
    expect(page.locator("#ph .drawing")).to_be_visible()
    assert page.get_by_role("button", name="Release batch").count() == 0
    page.fill("#decide-who", "Tom")
    page.get_by_role("button", name="Put in quarantine").click()
    expect(page.locator(".headline")).to_contain_text("quarantine")
    assert axe(page) == []
    assert weights(store, gel)["Sodium hydroxide 10 %"] == first + second


def test_what_cannot_be_sent_is_kept_marked_and_sent_again(
    visit: Callable[..., Page], bench: Any, store: Store, gel: Any
) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}/ph", width=1180)
    page.clock.install()
    bench.close()
    page.fill("#grams", "4.2")
    page.fill("#who", "Ines")
    page.get_by_role("button", name="Record addition").first.click()
    expect(page.locator("#unsent")).to_contain_text("Not saved")
    expect(page.locator("#grams")).to_have_value("4.2")
    bench.open()
    page.clock.fast_forward(TRIED_AGAIN_MS)
    expect(page.locator("#now")).to_have_text("Stir, wait, measure", timeout=15000)
    expect(page.locator("#unsent")).to_be_hidden()
    assert weights(store, gel)["Sodium hydroxide 10 %"] == Decimal("4.2")
    running = look_at_session(store, gel.batch_id).running
    assert running is not None
    assert len(running.rows) == 1


def test_an_entry_whose_answer_was_lost_is_taken_once(visit: Callable[..., Page], store: Store, gel: Any) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}/ph", width=820)
    lost: list[int] = []

    def lose_the_answer(route: Any) -> None:
        if not lost:
            lost.append(route.fetch(max_redirects=0).status)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.clock.install()
    page.route("**/addition", lose_the_answer)
    page.fill("#grams", "4.2")
    page.fill("#who", "Ines")
    page.get_by_role("button", name="Record addition").first.click()
    expect(page.locator("#unsent")).to_contain_text("Not saved")
    page.clock.fast_forward(TRIED_AGAIN_MS)
    expect(page.locator("#now")).to_have_text("Stir, wait, measure", timeout=15000)
    assert lost == [303]
    assert weights(store, gel)["Sodium hydroxide 10 %"] == Decimal("4.2")


def test_a_fault_keeps_the_page_and_what_was_typed(visit: Callable[..., Page], store: Store, gel: Any) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}", width=390)
    page.get_by_role("link", name="Continue the pH session").click()
    page.fill("#grams", "four")
    page.fill("#who", "Ines")
    page.get_by_role("button", name="Record addition").first.click()
    expect(page.locator("#grams-fault")).to_contain_text("four")
    expect(page.locator("#grams")).to_have_value("four")
    add(page, "4")
    page.go_back()
    page.go_forward()
    expect(page.locator("#now")).to_have_text("Stir, wait, measure")
    assert weights(store, gel)["Sodium hydroxide 10 %"] == Decimal(4)


def test_it_works_without_script(visit: Callable[..., Page], store: Store, gel: Any) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}/ph", width=820, java_script_enabled=False)
    add(page, "4")
    read_meter(page, "5.0")
    expect(page.locator(".ph-record")).to_contain_text("5 ± 0.1")


@pytest.mark.parametrize("width", [390, 820, 1180])
def test_targets_are_large_enough_for_gloves_and_nothing_runs_off(
    visit: Callable[..., Page], store: Store, gel: Any, width: int
) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}/ph", width=width)
    sizes = page.evaluate(
        "[...document.querySelectorAll('main button, main input:not([type=hidden],[type=radio]), main summary')]"
        ".filter(e => e.offsetParent).map(e => [e.tagName + e.className, e.getBoundingClientRect().height])"
    )
    assert [one for one in sizes if one[1] < 48] == []
    assert page.locator(".ph-now .main-button").bounding_box()["height"] >= 56
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.ph-big')).fontSize)") >= 24
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_comparisons_read_well(visit: Callable[..., Page], axe: Callable[[Page], list[str]], gel: Any) -> None:
    page = visit(f"/formulas/{gel.formula_id}/ph")
    assert axe(page) == []
    page.locator(".choice-row summary", has_text="Tromethamine").click()
    page.get_by_role("button", name="Choose Tromethamine").click()
    expect(page.locator(".flashes")).to_contain_text("Tromethamine")
    expect(page.locator(".ph-mine .choice-name").first).to_contain_text("Tromethamine")
    page.get_by_role("link", name=re.compile("Stock solutions")).click()
    expect(page.locator(".bottle-label")).to_contain_text("CORROSIVE")
    assert axe(page) == []


def test_what_is_typed_beside_an_entry_stays_and_what_was_sent_is_not_offered_again(
    visit: Callable[..., Page], store: Store, gel: Any
) -> None:
    begin(store, gel)
    page = visit(f"/batches/{gel.batch_id}/ph", width=820)
    page.get_by_text("Weigh 20 drops of a dropper").click()
    page.fill("#dropper", "Glass pipette")
    add(page, "4")
    page.get_by_text("Weigh 20 drops of a dropper").click()
    expect(page.locator("#dropper")).to_have_value("Glass pipette")
    page.fill("#drop_grams", "0.9")
    page.get_by_role("button", name="Save this dropper").click()
    expect(page.locator(".flashes")).to_contain_text("weighed")
    read_meter(page, "5.2")
    expect(page.locator("#grams")).to_have_value("")
    page.get_by_text("Weigh 20 drops of a dropper").click()
    expect(page.locator("#dropper")).to_have_value("")
    page.get_by_text("Counted in drops").click()
    expect(page.locator("#dropper_id")).to_contain_text("Glass pipette: 45.0 mg a drop")
