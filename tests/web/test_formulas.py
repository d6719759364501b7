"""The pages of formulas through the test client: what is saved, what is said, what is kept."""

import json
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from html import unescape
from html.parser import HTMLParser

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.store.engine import Store
from app.work.formulas.deeds import create, open_draft
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.versions import keep_version
from app.work.materials.shelf import add_material
from app.work.materials.typed_material import TypedMaterial, TypedPart

LIVE = {"X-Live": "1"}
SHELF = ("Water", "Glycerin", "Oil")


class Fields(HTMLParser):
    """Collects what a browser would send of a form: every named field with its value."""

    def __init__(self) -> None:
        super().__init__()
        self.values: dict[str, list[str]] = {}
        self.area = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        held = {key: value or "" for key, value in attributes}
        name = held.get("name", "")
        if tag == "textarea":
            self.area = name
            self.values.setdefault(name, []).append("")
        sent = held.get("type") not in ("checkbox", "radio") or "checked" in held
        if tag == "input" and name and sent:
            self.values.setdefault(name, []).append(held.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        self.area = "" if tag == "textarea" else self.area

    def handle_data(self, data: str) -> None:
        if self.area:
            self.values[self.area][-1] += data


def fields(page: str) -> dict[str, list[str]]:
    parser = Fields()
    parser.feed(page)
    return {"basis": ["w/w"], "exposure": ["leave-on"], **parser.values}


@pytest.fixture
def formula(store: Store) -> int:
    for name in SHELF:
        add_material(store, TypedMaterial(name=name, parts=(TypedPart(inci=name, percent="100"),)))
    lines = (
        DraftLine("w", "a", "Water", qs=True),
        DraftLine("g", "a", "Glycerin", None, "5"),
        DraftLine("o", "b", "Oil", None, "12"),
    )
    phases = (DraftPhase("a", "Water", "75"), DraftPhase("b", "Oil", "75", "Melt."))
    return create(store, "Cream", content=Draft(phases=phases, lines=lines))


def typed(client: FlaskClient, formula: int, **changes: str) -> dict[str, list[str]]:
    """Open the page and type into some of its fields (dots of field names written as two underscores)."""
    form = fields(client.get(f"/formulas/{formula}").text)
    return form | {name.replace("__", "."): [value] for name, value in changes.items()}


def stored(store: Store, formula: int) -> Draft:
    with store.reading() as session:
        return open_draft(session, formula).draft


def save(client: FlaskClient, formula: int, form: dict[str, list[str]], **headers: str) -> TestResponse:
    return client.post(f"/formulas/{formula}", data=form, headers=headers)


# -- the list


def test_the_list_is_searched_and_sorted(client: FlaskClient, store: Store, formula: int) -> None:
    create(store, "Apple balm", code="AB")
    assert re.findall(r'<a href="/formulas/\d+">([^<]+)', client.get("/formulas?order=name").text) == [
        "Apple balm",
        "Cream",
    ]
    page = client.get("/formulas?q=balm+AB").text
    assert "1 formula found" in page
    assert "Cream" not in page
    assert "0 formulas found" in client.get("/formulas?q=%25").text


def test_a_formula_is_started_once_however_often_the_button_is_pressed(client: FlaskClient) -> None:
    form = {"name": "Balm", "code": "", "key": "once"}
    places = {client.post("/formulas", data=form).headers["Location"] for _ in range(2)}
    assert len(places) == 1


def test_a_formula_without_a_name_is_asked_for_one_and_the_code_stays(client: FlaskClient) -> None:
    answer = client.post("/formulas", data={"name": " ", "code": "QQ"})
    assert answer.status_code == 422
    assert "<title>Error: New formula" in answer.text
    assert "Give the formula a name." in answer.text
    assert 'value="QQ"' in answer.text


def test_retiring_and_bringing_back(client: FlaskClient, formula: int) -> None:
    client.post(f"/formulas/{formula}/retire")
    assert "0 formulas" in client.get("/formulas").text
    page = client.get("/formulas?retired=1").text
    assert "Cream" in page
    client.post(f"/formulas/{formula}/retire", data={"back": "1"})
    assert "Cream" in client.get("/formulas").text


@pytest.mark.parametrize(
    "path", ["/formulas/99", "/formulas/99/paste", "/formulas/99/compare", "/formulas/1/versions/9"]
)
def test_what_is_not_there_is_a_plain_404(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 404


# -- saving


def test_what_the_page_holds_saves_as_it_is(client: FlaskClient, store: Store, formula: int) -> None:
    before = stored(store, formula)
    answer = save(client, formula, typed(client, formula))
    assert answer.status_code == 303
    assert stored(store, formula) == before


def test_the_live_answer_brings_what_follows(client: FlaskClient, store: Store, formula: int) -> None:
    answer = save(client, formula, typed(client, formula, line__g__amount="6,5"), **LIVE)
    told = answer.get_json()
    assert answer.status_code == 200
    assert "81.50 %" in unescape(told["parts"]["results"])
    assert "32.500 g" not in told["lines"]["g"]["figures"]
    assert "32.50 g" in told["lines"]["g"]["figures"]
    assert told["lines"]["w"]["rest"] == "81.50"
    assert told["undo"] == "Amount of Glycerin"
    assert json.loads(told["base"])["lines"][1]["amount"] == "6,5"
    assert stored(store, formula).lines[1].amount == "6,5"


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("", "Write a percentage, or let this line fill up to 100."),
        ("-1", "-1 is negative; write 0 or more."),
        ("NaN", "NaN is not a number"),
        ("1e400", "Write 1e400 out in full"),
        ("1.234,5", "can be read in two ways"),
        ("9" * 400, "at most 12 digits"),
        ("<b>5", "<b>5 is not a number"),
        ("٣", "Write the number with the digits 0 to 9."),
    ],
)
def test_a_slip_is_told_at_its_field_and_what_was_typed_is_kept(
    client: FlaskClient, store: Store, formula: int, amount: str, words: str
) -> None:
    told = save(client, formula, typed(client, formula, line__g__amount=amount), **LIVE).get_json()
    assert words in told["faults"]["line.g.amount"]["words"]
    assert stored(store, formula).lines[1].amount == amount
    page = client.get(f"/formulas/{formula}").text
    assert fields(page)["line.g.amount"] == [amount]
    assert words in unescape(page)


def test_markup_in_any_text_is_shown_as_text(client: FlaskClient, formula: int) -> None:
    evil = '"><script>alert(1)</script>'
    changes = dict.fromkeys(
        ("name", "product_type", "notes", "line__o__typed", "line__o__note", "phase__a__method"), evil
    )
    told = save(client, formula, typed(client, formula, **changes), **LIVE)
    assert "<script>alert" not in "".join(told.get_json()["parts"].values())
    for path in (f"/formulas/{formula}", "/formulas"):
        assert "<script>alert" not in client.get(path).text


def test_signs_no_field_can_hold_are_left_out_and_everything_else_stays(
    client: FlaskClient, store: Store, formula: int
) -> None:
    name = "Cr\u0000e\u0301me \u202e🧴\u0007"
    save(client, formula, typed(client, formula, name=name, phase__b__method="One\r\nTwo\u0000"))
    draft = stored(store, formula)
    assert draft.name == "Cre\u0301me \u202e🧴"
    assert draft.phases[1].method == "One\nTwo"


def test_broken_coding_does_not_break_the_page(client: FlaskClient, formula: int) -> None:
    body = b"line=g&line.g.typed=%ED%A0%80&line.g.amount=%FF5&base=%7B&row_version=x&editor=%00"
    answer = client.post(
        f"/formulas/{formula}", data=body, content_type="application/x-www-form-urlencoded", headers=LIVE
    )
    assert answer.status_code in (200, 409)


def test_a_text_that_is_too_long_is_refused_with_the_figures_and_kept_on_the_page(
    client: FlaskClient, store: Store, formula: int
) -> None:
    form = typed(client, formula, notes="x" * 10_001, name="Long")
    answer = save(client, formula, form)
    assert answer.status_code == 422
    assert "Shorten this to 10,000 characters; it has 10,001." in answer.text
    assert "<title>Error: " in answer.text
    assert fields(answer.text)["notes"] == ["x" * 10_001]
    assert fields(answer.text)["row_version"] == form["row_version"]
    assert stored(store, formula).name == "Cream"
    assert save(client, formula, form, **LIVE).status_code == 422


def test_more_lines_than_a_formula_holds_are_refused(client: FlaskClient, store: Store, formula: int) -> None:
    form = typed(client, formula)
    ids = [f"n{n}" for n in range(301)]
    form |= {"line": ids} | {f"line.{i}.typed": ["Water"] for i in ids}
    answer = save(client, formula, form)
    assert answer.status_code == 422
    assert "A formula holds at most 300 lines" in answer.text
    assert "n300" in answer.text
    assert len(stored(store, formula).lines) == 3


def test_a_code_of_another_formula_is_told_at_its_field(client: FlaskClient, store: Store, formula: int) -> None:
    create(store, "Balm", code="B")
    told = save(client, formula, typed(client, formula, code="B"), **LIVE).get_json()
    assert told["faults"]["code"]["words"].startswith("B is the code of another formula")


# -- what buttons do


@pytest.mark.parametrize(
    ("do", "order"),
    [
        ("line-down:w", {"a": ["g", "w"], "b": ["o"]}),
        ("line-down:g", {"a": ["w"], "b": ["g", "o"]}),
        ("line-up:o", {"a": ["w", "g", "o"], "b": []}),
        ("line-remove:g", {"a": ["w"], "b": ["o"]}),
        ("line-up:nothing", {"a": ["w", "g"], "b": ["o"]}),
        ("phase-remove:b", {"a": ["w", "g", "o"]}),
        ("phase-up:b", {"b": ["o"], "a": ["w", "g"]}),
    ],
)
def test_rows_are_moved_and_removed_by_buttons(
    client: FlaskClient, store: Store, formula: int, do: str, order: dict[str, list[str]]
) -> None:
    save(client, formula, typed(client, formula, do=do))
    draft = stored(store, formula)
    assert {phase.id: [line.id for line in draft.lines_of(phase.id)] for phase in draft.phases} == order
    assert [phase.id for phase in draft.phases] == list(order)


def test_undo_and_redo_from_the_page(client: FlaskClient, store: Store, formula: int) -> None:
    save(client, formula, typed(client, formula, do="line-remove:g"))
    save(client, formula, typed(client, formula, do="undo"))
    assert len(stored(store, formula).lines) == 3
    save(client, formula, typed(client, formula, do="redo"))
    assert len(stored(store, formula).lines) == 2
    answer = save(client, formula, typed(client, formula, do="redo"))
    assert answer.status_code == 422
    assert "There is nothing to do again." in answer.text


def test_undo_takes_back_what_was_typed_with_it(client: FlaskClient, store: Store, formula: int) -> None:
    save(client, formula, typed(client, formula, line__g__amount="9", do="undo"))
    assert stored(store, formula).lines[1].amount == "5"
    save(client, formula, typed(client, formula, do="redo"))
    assert stored(store, formula).lines[1].amount == "9"


def test_five_more_rows_and_another_phase_without_script(client: FlaskClient, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}", data=typed(client, formula, do="rows"), follow_redirects=True)
    assert answer.text.count('name="line"') == 3 + 2 * 5
    answer = client.post(f"/formulas/{formula}", data=typed(client, formula, do="add-phase"), follow_redirects=True)
    assert answer.text.count('class="phase"') == 3


def test_a_library_material_is_put_on_the_shelf_by_choosing_it(client: FlaskClient, store: Store, formula: int) -> None:
    found = client.get("/formulas/suggest?q=squalane").get_json()
    form = typed(client, formula, line__o__typed="squal", line__o__choice=found[0]["value"])
    told = save(client, formula, form, **LIVE).get_json()
    assert told["named"] == {"o": found[0]["name"]}
    line = stored(store, formula).lines[2]
    assert (line.typed, line.material_id is not None) == (found[0]["name"], True)


def test_a_name_that_is_not_known_offers_what_it_may_mean(client: FlaskClient, store: Store, formula: int) -> None:
    save(client, formula, typed(client, formula, line__o__typed="Moon dust"))
    page = client.get(f"/formulas/{formula}").text
    assert "Moon dust is not on the shelf." in page
    told = save(client, formula, typed(client, formula, line__o__typed="glycerine"), **LIVE).get_json()
    assert "take:o:shelf:2" in told["lines"]["o"]["offers"]
    save(client, formula, typed(client, formula, line__o__typed="Moon dust", do="take:o:bare"))
    assert stored(store, formula).lines[2].material_id == 4


def test_amounts_of_a_batch_become_percentages(client: FlaskClient, store: Store, formula: int) -> None:
    amounts = {"basis": "amounts", "batch": "1 kg", "line__g__amount": "50 g", "line__o__amount": "0.12 kg"}
    save(client, formula, typed(client, formula, **amounts))
    form = typed(client, formula, do="as-percentages", **amounts)
    save(client, formula, form)
    draft = stored(store, formula)
    assert (draft.basis, [line.amount for line in draft.lines]) == ("w/w", ["", "5", "12"])


# -- two pages at once


def test_the_later_save_is_told_what_the_earlier_changed(client: FlaskClient, store: Store, formula: int) -> None:
    later = typed(client, formula, line__g__amount="8", line__o__amount="10")
    save(client, formula, typed(client, formula, line__g__amount="7", name="Rich cream"))
    answer = save(client, formula, later)
    assert answer.status_code == 409
    words = re.sub(r"\s+", " ", answer.text)
    assert "Name: Cream became Rich cream" in words
    assert "yours: 8" in words
    assert "theirs: 7" in words
    kept = fields(answer.text)
    assert kept["line.g.amount"] == ["8"]
    assert kept["base"] == later["base"]
    assert kept["row_version"] == later["row_version"]
    assert stored(store, formula).lines[1].amount == "7"


@pytest.mark.parametrize(
    ("do", "pick", "settled"),
    [
        ("settle:merge", "mine", ("Rich cream", ["", "8", "10"])),
        ("settle:merge", "theirs", ("Rich cream", ["", "7", "10"])),
        ("settle:mine", "mine", ("Cream", ["", "8", "10"])),
        ("settle:theirs", "mine", ("Rich cream", ["", "7", "12"])),
    ],
)
def test_a_conflict_is_settled_three_ways(
    client: FlaskClient, store: Store, formula: int, do: str, pick: str, settled: tuple[str, list[str]]
) -> None:
    later = typed(client, formula, line__g__amount="8", line__o__amount="10")
    save(client, formula, typed(client, formula, line__g__amount="7", name="Rich cream"))
    kept = fields(save(client, formula, later).text)
    answer = save(client, formula, kept | {"do": [do], "pick.line.g.amount": [pick]})
    assert answer.status_code == 303
    draft = stored(store, formula)
    assert (draft.name, [line.amount for line in draft.lines]) == settled
    assert all(line.material_id for line in draft.lines)


def test_a_choice_about_a_state_that_has_changed_again_is_asked_anew(
    client: FlaskClient, store: Store, formula: int
) -> None:
    later = typed(client, formula, line__g__amount="8")
    save(client, formula, typed(client, formula, line__g__amount="7"))
    kept = fields(save(client, formula, later).text)
    save(client, formula, typed(client, formula, line__g__amount="6"))
    answer = save(client, formula, kept | {"do": ["settle:mine"]})
    assert answer.status_code == 409
    assert "theirs: 6" in answer.text
    assert stored(store, formula).lines[1].amount == "6"


def test_an_open_page_gets_the_conflict_as_a_part(client: FlaskClient, formula: int) -> None:
    later = typed(client, formula, line__g__amount="8")
    save(client, formula, typed(client, formula, line__g__amount="7"))
    answer = save(client, formula, later, **LIVE)
    assert answer.status_code == 409
    assert "Keep mine" in answer.get_json()["conflict"]


# -- pasted rows


def test_pasted_rows_are_shown_before_they_are_used(client: FlaskClient, store: Store, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}/paste", data={"rows": "Glycerin\t1\nNever heard\t2,5\n", "phase": "b"})
    assert answer.status_code == 200
    assert len(stored(store, formula).lines) == 3
    form = fields(answer.text) | {"choice.0": ["shelf:2"], "choice.1": ["keep"], "phase": ["b"]}
    assert client.post(f"/formulas/{formula}/paste/use", data=form).status_code == 303
    added = stored(store, formula).lines[3:]
    assert [(line.phase, line.typed, line.amount, line.material_id) for line in added] == [
        ("b", "Glycerin", "1", 2),
        ("b", "Never heard", "2,5", None),
    ]
    with store.reading() as session:
        assert open_draft(session, formula).undo == "Pasted 2 rows"


def test_ten_thousand_pasted_lines_are_refused_and_kept(client: FlaskClient, formula: int) -> None:
    text = "Glycerin\t0.01\n" * 10_000
    answer = client.post(f"/formulas/{formula}/paste", data={"rows": text})
    assert answer.status_code == 422
    assert "There are 10,000 rows; a formula holds 300 lines, 297 are free." in answer.text
    assert fields(answer.text)["rows"][0].count("Glycerin") == 10_000


def test_going_to_paste_saves_what_is_typed_first(client: FlaskClient, store: Store, formula: int) -> None:
    answer = save(client, formula, typed(client, formula, line__g__amount="9", do="paste"))
    assert answer.headers["Location"] == f"/formulas/{formula}/paste"
    assert stored(store, formula).lines[1].amount == "9"


# -- versions


def test_keeping_a_version_saves_what_is_typed_first(client: FlaskClient, store: Store, formula: int) -> None:
    form = typed(client, formula, line__g__amount="9", version_note="More glycerin", who="Mara")
    answer = client.post(f"/formulas/{formula}/versions", data=form, follow_redirects=True)
    assert "More glycerin" in answer.text
    assert 'value="Mara"' in answer.text
    page = client.get(f"/formulas/{formula}/versions/1").text
    assert ">9<" in page
    assert "79 q.s." in page


def test_a_draft_that_does_not_add_up_is_not_kept_and_says_where(client: FlaskClient, formula: int) -> None:
    form = typed(client, formula, line__g__amount="99", version_note="Too much")
    answer = client.post(f"/formulas/{formula}/versions", data=form)
    assert answer.status_code == 422
    assert "The other lines add up to 111 %; take 11 away." in answer.text
    assert 'href="#line.w.amount"' in answer.text
    assert 'value="Too much"' in answer.text


def test_versions_are_compared_branched_and_taken_up_again(client: FlaskClient, store: Store, formula: int) -> None:
    keep_version(store, formula, "One", "")
    save(client, formula, typed(client, formula, line__g__amount="9"))
    page = client.get(f"/formulas/{formula}/compare?left=1&right=draft").text
    assert "2 lines differ" in page
    assert "+4" in page
    branched = client.post(f"/formulas/{formula}/versions/1/branch", data={"name": "Light cream", "key": "b"})
    assert "Light cream" in client.get(branched.headers["Location"]).text
    client.post(f"/formulas/{formula}/versions/1/use")
    assert stored(store, formula).lines[1].amount == "5"


@pytest.mark.parametrize("side", ["9", "x", "-1", "9" * 30])
def test_a_version_that_is_not_there_cannot_be_compared(client: FlaskClient, formula: int, side: str) -> None:
    assert client.get(f"/formulas/{formula}/compare?left={side}").status_code == 404


def test_a_draft_that_does_not_add_up_cannot_be_compared_yet(client: FlaskClient, store: Store, formula: int) -> None:
    keep_version(store, formula, "", "")
    save(client, formula, typed(client, formula, line__g__amount="99"))
    assert client.get(f"/formulas/{formula}/compare").status_code == 422


# -- how much it asks of the database


def test_the_page_sends_as_many_statements_however_long_the_formula(
    client: FlaskClient, store: Store, formula: int, statements: Callable[[], AbstractContextManager[list[str]]]
) -> None:
    client.get(f"/formulas/{formula}")
    with statements() as few:
        client.get(f"/formulas/{formula}")
    lines = tuple(DraftLine(f"n{n}", "p", SHELF[n % 3], None, "1") for n in range(60))
    longer = create(store, "Long", content=Draft(phases=(DraftPhase("p"),), lines=lines))
    with statements() as many:
        client.get(f"/formulas/{longer}")
    assert len(many) == len(few)
    assert len(few) <= 14
    form = typed(client, longer, line__n5__amount="2")
    with statements() as saving:
        save(client, longer, form, **LIVE)
    assert len(saving) <= 24
