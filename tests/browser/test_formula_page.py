"""The formula page in a real browser: keyboard alone, pasted cells, two tabs, a lost connection, no script."""

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Page, Route, expect

from app.reference.materials import library_materials
from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create, open_draft
from app.work.formulas.results import results_of
from app.work.formulas.versions import keep_version
from app.work.materials.shelf import load_material, put_on_shelf

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


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def test_a_formula_is_built_from_nothing_by_keyboard_alone(visit: Callable[..., Page], store: Store) -> None:
    shelf_names(store)
    page = visit("/formulas/new")
    # The cursor stands there with the first picture of a page, which may come a moment after it has loaded.
    expect(page.locator("input:focus")).to_have_count(1)
    page.keyboard.type("Keyboard cream")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/formulas/\d+"))
    formula_id = int(page.url.rsplit("/", 1)[1].split("#")[0])
    expect(page.locator("[data-suggest]:focus")).to_have_count(1)
    for typed, amount in (("glyc", "5"), ("jojoba", "9+1"), ("Purified water", "q.s.")):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
        expect(page.locator("[id$='.amount']:focus")).to_have_count(1)
        page.keyboard.type(amount)
        page.keyboard.press("Enter")
    expect(page.locator("#total .total-words")).to_have_text(re.compile("fills up with 85.00 %"))
    page.keyboard.press("Control+s")
    saved(page)
    # The lines were typed after the page was drawn; any of them may fill up to 100.
    page.evaluate("document.getElementById('make-hundred').showPopover()")
    assert page.locator("[name='filler'] option").count() == 3
    draft = stored(store, formula_id)
    assert [line.amount for line in draft.lines] == ["5", "10", "q.s."]
    assert all(line.material_id for line in draft.lines)
    assert total(store, formula_id) == 100


def test_fourteen_lines_take_two_keys_each_beyond_what_is_typed(visit: Callable[..., Page], store: Store) -> None:
    keys = [m.key for m in library_materials()[::20][:14]]
    names = [load_material(store, put_on_shelf(store, key)).name for key in keys]
    formula_id = create(store, "Fourteen")
    page = visit(f"/formulas/{formula_id}")
    expect(page.locator("[data-suggest]:focus")).to_have_count(1)
    pressed = 0
    for name in names:
        # Enter comes before the suggestions do; what is typed after it belongs to the amount all the same.
        page.keyboard.type(name)
        page.keyboard.press("Enter")
        page.keyboard.type("7")
        page.keyboard.press("Enter")
        pressed += 2
    saved(page)
    lines = stored(store, formula_id).lines
    assert [line.typed for line in lines] == names
    assert [line.amount for line in lines] == ["7"] * 14
    assert pressed <= 2 * len(lines)


def test_arrows_walk_through_the_cells(visit: Callable[..., Page], formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.amount']").focus()
    press(page, "ArrowDown")
    assert page.evaluate("document.activeElement.id") == "line.x.amount"
    press(page, "ArrowDown", "ArrowDown")
    assert page.evaluate("document.activeElement.id") == "line.o.amount"
    press(page, "ArrowUp", "ArrowUp", "ArrowUp")
    assert page.evaluate("document.activeElement.id") == "line.g.amount"
    stops = 0
    while page.evaluate("document.activeElement.id") != "line.x.amount":
        press(page, "Tab")
        stops += 1
    assert stops <= 4


def test_lines_are_doubled_removed_and_selected_by_key(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.x.amount']").focus()
    press(page, "Control+d")
    expect(page.locator("#state")).to_contain_text("Duplicated Xanthan")
    assert [line.typed for line in stored(store, formula).lines].count("Xanthan gum") == 2
    press(page, "Control+Backspace")
    expect(page.locator("#state")).to_contain_text("Removed Xanthan")
    assert page.evaluate("document.activeElement.id") == "line.x.amount"
    page.locator("[id='line.g.amount']").focus()
    press(page, "Shift+ArrowDown")
    expect(page.locator("#picked-words")).to_have_text("2 lines selected:")
    page.locator("#picked").get_by_role("button", name="To B").click()
    expect(page.locator("[data-phase='b'] [data-line='g']")).to_be_visible()
    assert [line.id for line in stored(store, formula).lines_of("b")] == ["o", "g", "x"]
    press(page, "Control+Backspace")
    expect(page.locator("#state")).to_contain_text("Removed 2 lines")
    press(page, "Control+z")
    expect(page.locator("[data-line='x']")).to_be_visible()


def test_selected_lines_are_copied_as_a_table(visit: Callable[..., Page], formula: int) -> None:
    page = visit(f"/formulas/{formula}", permissions=["clipboard-read", "clipboard-write"])
    for line in ("w", "o"):
        page.locator(f"[data-line='{line}'] .pick").check()
    page.locator("#picked-copy").click()
    expect(page.locator("#picked-words")).to_contain_text("2 lines copied")
    rows = [row.split("\t") for row in page.evaluate("navigator.clipboard.readText()").splitlines()]
    assert rows[0] == ["Phase", "Material", "% w/w", "g", "Note"]
    assert [row[:3] for row in rows[1:]] == [["A", "Purified water", "82.70"], ["B", "Sunflower oil", "12"]]


def test_what_is_said_of_a_line_never_pushes_a_row(visit: Callable[..., Page], formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    below = page.locator("[data-line='o']").bounding_box()
    page.locator("[id='line.g.amount']").fill("abc")
    expect(page.locator("[data-line='g'] .fault")).to_contain_text("abc is not a number")
    expect(page.locator("#total")).to_have_class(re.compile("unknown"))
    expect(page.locator("[data-s='unit']")).to_have_text("–")
    expect(page.locator("[data-s='weigh']")).to_have_text("–")
    assert page.locator("[data-line='o']").bounding_box() == below


def test_amounts_that_are_weights_are_headed_so_with_their_percentages_alone(
    visit: Callable[..., Page], formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("#batch").fill("1 kg")
    page.locator("#basis").select_option("amounts")
    expect(page.locator(".head-amount")).to_have_text("weights and volumes")
    row = page.locator("[data-line='g']")
    expect(row.locator("[data-f='percent']")).to_have_text(re.compile(r"^[\d.]{1,6} % w/w$"))
    assert not row.locator(".bars").evaluate("one => one.checkVisibility({ opacityProperty: true })")


def test_make_it_100_scales_all_but_the_selected(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.w.amount']").evaluate("field => field.closest('.line').querySelector('.qs input').click()")
    page.locator("[id='line.w.amount']").fill("60")
    expect(page.locator("#total .total-words")).to_have_text("22.70 % missing")
    page.locator("[data-line='x'] .pick").check()
    page.get_by_role("button", name="Make it 100").click()
    page.get_by_role("button", name="Scale all but the selected").click()
    expect(page.locator("#state")).to_contain_text("Scaled to 100 %")
    assert total(store, formula) == 100
    amounts = {line.id: Decimal(line.amount) for line in stored(store, formula).lines}
    assert amounts["x"] == Decimal("0.3")
    assert abs(amounts["g"] / amounts["o"] - Decimal(5) / 12) < Decimal("0.001")
    press(page, "Control+z")
    expect(page.locator("[id='line.w.amount']")).to_have_value("60")


def test_figures_that_wait_and_figures_of_the_formula_before_are_marked(
    visit: Callable[..., Page], bench: object, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.amount']").fill("6")
    saved(page)
    expect(page.locator("#strip-checks")).not_to_have_class(re.compile("waiting"))
    expect(page.locator(".strip .waiting")).to_have_count(0)
    bench.close()  # type: ignore[attr-defined]
    page.locator("[id='line.g.amount']").fill("9")
    expect(page.locator("#state")).to_contain_text("Not saved")
    expect(page.locator("[data-line='g'] [data-f='grams']")).to_have_class(re.compile("waiting"))
    expect(page.locator("[data-line='g']")).to_have_class(re.compile("unsaved"))
    for figure in ("[data-line='g'] [data-f='grams']", "[data-s='total']", "[data-s='unit']", "[data-s='weigh']"):
        expect(page.locator(figure)).to_have_class(re.compile("stale"))
    expect(page.locator("#strip-ph .strip-figure")).to_have_class(re.compile("stale"))
    expect(page.locator("#after-fault")).to_contain_text("of the formula before")
    page.mouse.wheel(0, 2000)
    box = page.locator("#state").bounding_box()
    assert box
    assert 0 <= box["y"] < 900
    bench.open()  # type: ignore[attr-defined]
    page.get_by_role("button", name="Save now").click()
    saved(page)
    expect(page.locator("#after-fault")).to_be_hidden()
    expect(page.locator(".stale")).to_have_count(0)
    expect(page.locator("#strip-ph .strip-figure")).not_to_have_class(re.compile("stale|waiting"))


STRIP_PX, NAME_PX = 52, 120
CREAM = tuple(
    DraftLine(f"c{n}", "a" if n < 6 else "b", "Glycerin", None, "5", n == 0, "a note" if n == 3 else "")
    for n in range(14)
)


@pytest.mark.parametrize(("width", "height", "least"), [(1280, 720, 10), (390, 844, 5)])
def test_lines_and_strip_stand_on_one_screen(
    visit: Callable[..., Page], store: Store, width: int, height: int, least: int
) -> None:
    formula_id = create(store, "Fourteen", content=Draft(phases=PHASES, lines=CREAM, batch="1 kg", fill="50 g"))
    page = visit(f"/formulas/{formula_id}", width=width)
    page.set_viewport_size({"width": width, "height": height})
    strip = page.locator("#strip").bounding_box()
    assert strip
    foot = strip["y"] if strip["y"] > height / 2 else height
    assert strip["y"] >= 0
    assert strip["y"] + strip["height"] <= height
    boxes = [row.bounding_box() for row in page.locator(".line").all()[:14]]
    names = page.evaluate("[...document.querySelectorAll('.line [data-suggest]')].map(field => field.value)")
    whole = [box for box, name in zip(boxes, names, strict=False) if box and name and box["y"] + box["height"] <= foot]
    assert len(whole) >= least
    # One line, also on the narrowest phone, with every figure in it.
    for narrow in (width, 820, 360):
        page.set_viewport_size({"width": narrow, "height": height})
        strip = page.locator("#strip").bounding_box()
        assert strip
        assert strip["height"] <= STRIP_PX
        for words in ("total", "pH", "a unit", "checks", "to weigh", "Saved"):
            assert words in page.locator("#strip").inner_text()
        assert page.locator("#undo").bounding_box()["height"] >= 24  # type: ignore[index]
    # Columns that were chosen on a wide screen leave the lines of a phone as they are.
    page.evaluate("document.getElementById('columns').showPopover()")
    page.locator("#columns [value='inci']").check()
    page.get_by_role("button", name="Show these columns").click()
    expect(page.locator(".column-inci").first).to_be_attached()
    assert page.locator(".line [data-suggest]").first.bounding_box()["width"] >= NAME_PX  # type: ignore[index]


def test_other_amounts_are_worked_out_while_they_are_typed(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}/what-if")
    page.locator("[id='amount.g']").fill("7+1")
    expect(page.locator("[data-line='g'] [data-change]")).to_have_text("+3")
    expect(page.locator("[data-line='w'] [data-change]")).to_have_text("−3")
    assert stored(store, formula).lines[1].amount == "5"
    page.get_by_role("button", name="Use as the draft").click()
    page.wait_for_url(re.compile(r"/formulas/\d+$"))
    assert stored(store, formula).lines[1].amount == "7+1"


def test_nothing_shifts_while_the_page_loads(visit: Callable[..., Page], formula: int) -> None:
    page = visit("/formulas")
    page.add_init_script(
        "window.shifts = 0; new PerformanceObserver(list => list.getEntries().forEach(one => { shifts += one.value; }))"
        ".observe({ type: 'layout-shift', buffered: true });"
    )
    page.goto(re.sub(r"/formulas.*", f"/formulas/{formula}", page.url))
    page.wait_for_timeout(400)
    assert page.evaluate("shifts") == 0


def test_typing_keeps_focus_and_caret_and_the_total_follows(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit(f"/formulas/{formula}")
    amount = page.locator("[id='line.g.amount']")
    amount.focus()
    page.keyboard.press("Home")
    page.keyboard.type("1")
    expect(page.locator("#total .total-words")).to_have_text(re.compile("72.70 %"))
    held = page.evaluate("[document.activeElement.id, document.activeElement.selectionStart, scrollY]")
    assert held == ["line.g.amount", 1, 0]
    expect(page.locator("[data-line='g'] [data-f='grams']")).to_have_text(re.compile(r"^75\.0+$"))
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
    expect(page.locator("#total .total-words")).to_have_text(re.compile("81.61 %"))
    page.keyboard.press("Control+z")
    expect(page.locator("[id='line.x.amount']")).to_have_value("0.3")
    expect(page.locator("#total .total-words")).to_have_text(re.compile("81.70 %"))
    page.keyboard.press("Control+z")
    expect(page.locator("#state")).to_contain_text("Undone")
    expect(page.locator("[id='line.g.amount']")).to_have_value("5")
    page.keyboard.press("Control+z")
    expect(page.locator("#state")).to_contain_text("There is nothing to undo.")
    page.keyboard.press("Control+y")
    expect(page.locator("#state")).to_contain_text("Redone")
    cell = page.locator("[id='line.g.amount']")
    expect(cell).to_have_value("6")
    cell.fill("3*2.5")
    cell.press("Enter")
    expect(cell).to_have_value("7.5")
    expect(cell).to_have_attribute("title", "= 3*2.5")
    page.keyboard.press("Control+z")
    expect(cell).to_have_value("3*2.5")


def test_lines_move_by_key_by_button_and_by_dragging(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.amount']").focus()
    page.keyboard.press("Alt+ArrowDown")
    expect(page.locator("#state")).to_contain_text("Moved")
    assert page.evaluate("document.activeElement.id") == "line.g.amount"
    assert [line.id for line in stored(store, formula).lines_of("a")] == ["w", "x", "g"]
    page.keyboard.press("Alt+ArrowDown")
    expect(page.locator("[data-phase='b'] [data-line='g']")).to_be_visible()
    page.locator("[data-line='g'] .more").click()
    page.locator(".card-box").get_by_role("button", name="Up", exact=True).click()
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
    page.locator("[data-line='x'] .more").click()
    page.locator(".card-box").get_by_role("button", name="Remove").click()
    expect(page.locator("#state")).to_contain_text("Removed")
    assert page.evaluate("document.activeElement.id") == "line.g.typed"
    page.locator("#undo").click()
    expect(page.locator("#state")).to_contain_text("Undone: removed Xanthan gum")
    expect(page.locator("[data-line='x']")).to_be_visible()
    assert [line.id for line in stored(store, formula).lines] == ["w", "g", "x", "o"]


def test_cells_of_a_spreadsheet_become_lines_in_place(visit: Callable[..., Page], store: Store, formula: int) -> None:
    page = visit(f"/formulas/{formula}")
    page.locator("[id='line.g.typed']").focus()
    page.evaluate(
        """text => { const data = new DataTransfer(); data.setData('text/plain', text);
        document.activeElement.dispatchEvent(
          new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true })); }""",
        "Ingredient\t%\nShea butter\t4,5\nUnheard-of powder\t0.2\n",
    )
    expect(page.locator("#state")).to_contain_text("Pasted 2 rows; 1 name to choose")
    lines = stored(store, formula).lines_of("a")
    assert [(line.typed, line.amount) for line in lines][2:4] == [("Shea butter", "4,5"), ("Unheard-of powder", "0.2")]
    assert [line.material_id is not None for line in lines][2:4] == [True, False]
    asked = page.locator(f"[data-line='{lines[3].id}']")
    asked.hover()
    expect(asked.get_by_role("button", name="New material")).to_be_visible()
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
    expect(page.locator("#state")).to_contain_text("Not saved: no connection")
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
    expect(page.locator("#state")).to_contain_text("Not saved")
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
    page.locator("[data-phase='b'] .cell-amount input.number").nth(1).fill("1")
    page.get_by_role("button", name="Recalculate").last.click()
    expect(page.locator("#total .total-words")).to_have_text(re.compile("fills up with 77.70 %"))
    assert page.locator("[id='line.o.typed']").bounding_box()["width"] > 150  # type: ignore[index]
    page.locator("[data-line='o'] .pick").check()
    page.locator("#picked").get_by_role("button", name="Up", exact=True).click()
    expect(page.locator("[data-phase='a'] [data-line='o']")).to_be_visible()
    page.locator("#undo").click()
    expect(page.locator("[data-phase='b'] [data-line='o']")).to_be_visible()
    assert [line.id for line in stored(store, formula).lines_of("a")] == ["w", "g", "x"]


@pytest.mark.parametrize(("width", "scheme"), [(1280, "dark")])
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
    more = ("compare?left=1&right=draft", "paste", "what-if", "pictures")
    for path in (*paths, *(f"/formulas/{formula}/{one}" for one in more)):
        page.goto(re.sub(r"/formulas.*", path, page.url))
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_what_is_typed_before_the_script_is_there_is_saved(
    visit: Callable[..., Page], store: Store, formula: int
) -> None:
    page = visit("/formulas")
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route(re.compile(r"/js/formula\.js"), hold)
    page.goto(page.url + f"/{formula}", wait_until="commit")
    page.locator("[id='line.g.amount']").fill("7")
    held[0].continue_()
    expect(page.locator("#total")).to_contain_text("80.7")
    saved(page)
    assert {line.id: line.amount for line in stored(store, formula).lines}["g"] == "7"
