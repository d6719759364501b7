"""The formula page in a real browser: keyboard alone, pasted cells, two tabs, a lost connection, no script."""

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from app.store.engine import Store
from app.work.formulas.deeds import create, open_draft
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.results import results_of
from app.work.formulas.versions import keep_version
from app.work.materials.shelf import put_on_shelf

pytestmark = pytest.mark.browser

PHASES = (DraftPhase("a", "Water", "75"), DraftPhase("b", "Oil", "75", "Melt.\nPour into A."))
GEL = Draft(
    phases=PHASES,
    lines=(
        DraftLine("w", "a", "Water", qs=True),
        DraftLine("g", "a", "Glycerin", None, "5"),
        DraftLine("x", "a", "Xanthan gum", None, "0.3"),
        DraftLine("o", "b", "Sunflower oil", None, "12"),
    ),
)
KEYS = ("aqua", "glycerin", "xanthan-gum", "helianthus-annuus-seed-oil")


def shelf_names(store: Store) -> list[str]:
    from app.work.materials.shelf import load_material

    return [load_material(store, put_on_shelf(store, key)).name for key in KEYS]


@pytest.fixture
def formula(store: Store) -> int:
    names = dict(zip("wgxo", shelf_names(store), strict=True))
    lines = tuple(DraftLine(i.id, i.phase, names[i.id], None, i.amount, i.qs) for i in GEL.lines)
    return create(store, "Test cream", content=Draft(phases=PHASES, lines=lines))


def stored(store: Store, formula_id: int) -> Draft:
    with store.reading() as session:
        return open_draft(session, formula_id).draft


def total(store: Store, formula_id: int) -> Decimal:
    with store.reading() as session:
        return results_of(session, open_draft(session, formula_id)).total.percent


def saved(page: Page) -> None:
    expect(page.locator("#state")).to_have_text(re.compile(r"^Saved \d\d:\d\d"))


def test_a_formula_is_built_from_nothing_by_keyboard_alone(visit: Callable[..., Page], store: Store) -> None:
    shelf_names(store)
    page = visit("/formulas/new")
    page.locator("#name").focus()
    page.keyboard.type("Keyboard cream")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/formulas/\d+"))
    formula_id = int(page.url.rsplit("/", 1)[1].split("#")[0])
    page.locator("[data-suggest]").first.focus()
    page.keyboard.type("glyc")
    page.wait_for_selector(".choices")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.keyboard.type("5")
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("jojoba")
    page.wait_for_selector(".choices li:has-text('library')")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.keyboard.type("10")
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("Purified water")
    page.wait_for_selector(".choices")
    page.keyboard.press("Escape")
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    expect(page.locator("#total")).to_contain_text("fills up with 85.00 %")
    page.keyboard.press("Control+s")
    saved(page)
    draft = stored(store, formula_id)
    assert [(line.amount, line.qs) for line in draft.lines] == [("5", False), ("10", False), ("", True)]
    assert all(line.material_id for line in draft.lines)
    assert total(store, formula_id) == 100


def test_typing_keeps_focus_and_caret_and_the_total_follows(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    amount = page.locator("[id='line.g.amount']")
    amount.focus()
    page.keyboard.press("Home")
    page.keyboard.type("1")
    expect(page.locator("#total")).to_contain_text("72.70 %")
    held = page.evaluate("[document.activeElement.id, document.activeElement.selectionStart, scrollY]")
    assert held == ["line.g.amount", 1, 0]
    expect(page.locator("[data-figures='g'] .grams")).to_have_text("75.00 g")
    saved(page)
    assert stored(store, formula).lines[1].amount == "15"


def test_undo_takes_back_the_field_first_and_then_the_draft(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.amount']").fill("6")
    saved(page)
    page.locator("[id='line.x.amount']").focus()
    page.keyboard.press("End")
    page.keyboard.type("9")
    expect(page.locator("#total")).to_contain_text("81.61 %")
    page.keyboard.press("Control+z")
    expect(page.locator("[id='line.x.amount']")).to_have_value("0.3")
    expect(page.locator("#total")).to_contain_text("81.70 %")
    page.keyboard.press("Control+z")
    expect(page.locator("#state")).to_contain_text("Undone")
    expect(page.locator("[id='line.g.amount']")).to_have_value("5")
    page.keyboard.press("Control+z")
    expect(page.locator("#state")).to_contain_text("There is nothing to undo.")
    page.keyboard.press("Control+y")
    expect(page.locator("#state")).to_contain_text("Done again")
    expect(page.locator("[id='line.g.amount']")).to_have_value("6")


def test_lines_move_by_key_by_button_and_by_dragging(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.amount']").focus()
    page.keyboard.press("Alt+ArrowDown")
    expect(page.locator("#state")).to_contain_text("Moved")
    assert page.evaluate("document.activeElement.id") == "line.g.amount"
    assert [line.id for line in stored(store, formula).lines_of("a")] == ["w", "x", "g"]
    page.keyboard.press("Alt+ArrowDown")
    expect(page.locator("[data-phase='b'] [data-line='g']")).to_be_visible()
    page.locator("[id='line.g.up']").click()
    expect(page.locator("[data-phase='a'] [data-line='g']")).to_be_visible()
    grip, target = page.locator("[data-line='g'] .grip"), page.locator("[data-line='o']")
    box, there = grip.bounding_box(), target.bounding_box()
    assert box
    assert there
    page.mouse.move(box["x"] + 5, box["y"] + 8)
    page.mouse.down()
    page.mouse.move(there["x"] + 40, there["y"] + 5, steps=6)
    with page.expect_response(lambda answer: answer.request.method == "POST" and answer.ok):
        page.mouse.up()
    expect(page.locator("[data-phase='b'] [data-line='g']")).to_be_visible()
    page.reload()
    expect(page.locator("[data-phase='b'] [data-line='g']")).to_be_visible()


def test_a_removed_line_comes_back_with_undo(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.get_by_role("button", name="Remove Xanthan", exact=False).click()
    expect(page.locator("#state")).to_contain_text("Undo takes it back")
    assert page.evaluate("document.activeElement.id") == "line.o.typed"
    page.locator("#undo").click()
    expect(page.locator("[data-line='x']")).to_be_visible()
    assert [line.id for line in stored(store, formula).lines] == ["w", "g", "x", "o"]


def test_cells_of_a_spreadsheet_become_lines_through_a_preview(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[data-phase='b'] .line:last-child [data-suggest]").focus()
    page.evaluate(
        """text => { const data = new DataTransfer(); data.setData('text/plain', text);
        document.activeElement.dispatchEvent(
          new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true })); }""",
        "Ingredient\t%\nShea butter\t4,5\nUnheard-of powder\t0.2\n",
    )
    page.wait_for_url(re.compile("/paste$"))
    expect(page.get_by_text("2 rows read, 1 passed over")).to_be_visible()
    expect(page.locator("#phase")).to_have_value("b")
    page.get_by_role("button", name="Use these rows").click()
    page.wait_for_url(re.compile(r"/formulas/\d+$"))
    added = stored(store, formula).lines[-2:]
    assert [(line.phase, line.amount) for line in added] == [("b", "4,5"), ("b", "0.2")]
    assert added[0].material_id is not None
    assert added[1].typed == "Unheard-of powder"
    page.locator("#undo").click()
    expect(page.locator(".line")).to_have_count(6)
    assert len(stored(store, formula).lines) == 4


def test_the_later_of_two_tabs_is_told_and_merges(visit: Callable[..., Page], store: Store, formula: int) -> None:
    first, second = visit(f"/formulas/{formula}"), visit(f"/formulas/{formula}")
    first.locator("[id='line.g.amount']").fill("7")
    first.locator("[id='line.o.amount']").fill("20")
    saved(first)
    second.locator("[id='line.x.amount']").fill("0.5")
    expect(second.locator("#conflict-box")).to_contain_text("5 became 7")
    second.locator("[id='line.o.amount']").fill("15")
    second.keyboard.press("Control+s")
    expect(second.locator("#conflict-box fieldset")).to_contain_text("yours: 15")
    assert [line.amount for line in stored(store, formula).lines] == ["", "7", "0.3", "20"]
    second.get_by_label("theirs: 20").check()
    second.get_by_role("button", name="Merge both").click()
    expect(second.locator("#state")).to_contain_text("Merged both")
    assert [line.amount for line in stored(store, formula).lines] == ["", "7", "0.5", "20"]
    expect(second.locator("[id='line.o.amount']")).to_have_value("20")


def test_nothing_typed_is_lost_when_the_server_goes_away(
    visit: Callable[..., Page], bench: object, store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    bench.close()  # type: ignore[attr-defined]
    page.locator("[id='line.g.amount']").fill("8")
    expect(page.locator("#state")).to_contain_text("Saving failed, still on this page")
    expect(page.locator("[id='line.g.amount']")).to_have_value("8")
    bench.open()  # type: ignore[attr-defined]
    page.get_by_role("button", name="Save now").click()
    saved(page)
    page.reload()
    expect(page.locator("[id='line.g.amount']")).to_have_value("8")
    assert stored(store, formula).lines[1].amount == "8"


def test_what_a_tab_could_not_send_is_brought_back_with_its_new_rows(
    visit: Callable[..., Page], bench: object, store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    page.on("dialog", lambda dialog: dialog.accept())
    bench.close()  # type: ignore[attr-defined]
    page.locator("[id='line.g.amount']").fill("8")
    page.locator("[data-phase='b'] .line:last-child [data-suggest]").fill("Rose clay")
    expect(page.locator("#state")).to_contain_text("Saving failed")
    bench.open()  # type: ignore[attr-defined]
    page.reload()
    expect(page.locator("[data-phase='b'] [data-suggest]").nth(1)).to_have_value("Rose clay")
    assert [line.typed for line in stored(store, formula).lines_of("b")][1:] == ["Rose clay"]
    assert stored(store, formula).lines[1].amount == "8"


def test_the_same_form_works_without_script(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}", java_script_enabled=False)
    page.locator("[id='line.g.amount']").fill("9")
    page.get_by_role("button", name="Add five rows").click()
    expect(page.locator("[data-phase='a'] .line")).to_have_count(8)
    page.locator("[data-phase='b'] [data-suggest]").nth(1).fill("Glycerin")
    page.locator("[data-phase='b'] .cell-amount input").nth(1).fill("1")
    page.get_by_role("button", name="Recalculate").last.click()
    expect(page.locator("#total")).to_contain_text("fills up with 77.70 %")
    page.locator("[id='line.o.up']").click()
    expect(page.locator("[data-phase='a'] [data-line='o']")).to_be_visible()
    page.locator("#undo").click()
    expect(page.locator("[data-phase='b'] [data-line='o']")).to_be_visible()
    assert [line.id for line in stored(store, formula).lines_of("a")] == ["w", "g", "x"]


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_axe_finds_nothing_serious(
    visit: Callable[..., Page],
    axe: Callable[[Page], list[str]],
    store: Store,
    formula: int,
    width: int,
    scheme: str,
) -> None:
    keep_version(store, formula, "First", "Mara")
    paths = ("/formulas", "/formulas/new", f"/formulas/{formula}", f"/formulas/{formula}/versions/1")
    page = visit("/formulas", width=width, color_scheme=scheme)
    for path in (*paths, f"/formulas/{formula}/compare?left=1&right=draft", f"/formulas/{formula}/paste"):
        page.goto(re.sub(r"/formulas.*", path, page.url))
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
