"""The pages of formulas through the test client: what is saved, what is said, what is kept."""

import json
import re
from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient

from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.shelf import load_material, put_on_shelf

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
    assert "Enter a name for the formula." in answer.text
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


def test_what_the_page_holds_saves_as_it_is(desk: Any) -> None:
    before = desk.stored()
    answer = desk.save(desk.typed())
    assert answer.status_code == 303
    assert desk.stored() == before


def test_the_live_answer_brings_what_follows(desk: Any) -> None:
    answer = desk.save(desk.typed(line__g__amount="6,5"), live=True)
    told = answer.get_json()
    assert answer.status_code == 200
    figures = told["figures"]
    assert figures["total"] == {"figure": "100 %", "words": "Water fills up with 81.50 %", "state": "whole"}
    assert figures["lines"]["g"]["grams"] == "32.50"
    assert figures["lines"]["w"]["rest"] == "81.50"
    assert figures["phases"]["a"] == "88 % · 440.00 g"
    assert told["undo"] == "Amount of Glycerin"
    assert json.loads(told["base"])["lines"][1]["amount"] == "6,5"
    assert desk.stored().lines[1].amount == "6,5"


def test_what_does_not_add_up_is_not_costed_weighed_or_drawn_and_its_ph_is_so_far(
    client: FlaskClient, store: Store
) -> None:
    phase = (DraftPhase("a", "Water"),)
    for typed, amount, state in (("Citric Acid", "1", "short"), ("Citric Acid", "", "unknown")):
        lines = (DraftLine("l", "a", load_material(store, put_on_shelf(store, "citric-acid")).name, None, amount),)
        lines += (DraftLine("m", "a", lines[0].typed, None, "1"),)
        made = create(store, f"{typed} {state}", content=Draft(phases=phase, lines=lines, batch="100 g", target_ph="4"))
        page = client.get(f"/formulas/{made}").text
        assert f'total {state}"' in page
        assert '<span class="in-full" data-s="unit">–</span>' in page
        told = client.get(f"/formulas/{made}/follows?open=ph").get_json()
        assert told["ph"]["note"].endswith("so far")
        assert (told["ph"]["ruler"], told["ph"]["off"]) == ("", False)
        assert "written so far" in told["bodies"]["ph"]
        assert "<svg" not in told["bodies"]["ph"]
        charts = client.get(f"/formulas/{made}/pictures").text
        assert "drawn once the formula adds up" in charts
        assert "<h2>Process" in charts
        assert "<h2>pH" not in charts
        assert re.search(r"Of the [\d.]+ % written so far", client.get(f"/formulas/{made}/ph").text)


def test_a_formula_of_which_nothing_has_a_price_shows_no_figure_for_its_cost(client: FlaskClient, store: Store) -> None:
    water = load_material(store, put_on_shelf(store, "aqua")).name
    content = Draft(phases=(DraftPhase("a", "Water"),), lines=(DraftLine("l", "a", water, qs=True),), batch="100 g")
    made = create(store, "Plain", content=content)
    page = client.get(f"/formulas/{made}").text
    assert "no price yet" in page
    assert "at least" not in page
    told = client.get(f"/formulas/{made}/follows?open=cost").get_json()
    assert "No material has a price yet" in told["bodies"]["cost"]


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("", "Enter a percentage, or let this line fill up to 100."),
        ("-1", "-1 is negative; enter 0 or more."),
        ("NaN", "NaN is not a number"),
        ("1e400", "Enter 1e400 in full"),
        ("1.234,5", "can be read in two ways"),
        ("9" * 400, "at most 12 digits"),
        ("<b>5", "<b>5 is not a number"),
        ("٣", "Enter the number with the digits 0 to 9."),
    ],
)
def test_a_slip_is_told_at_its_field_and_what_was_typed_is_kept(
    desk: Any, client: FlaskClient, formula: int, amount: str, words: str
) -> None:
    told = desk.save(desk.typed(line__g__amount=amount), live=True).get_json()
    assert words in told["faults"]["line.g.amount"]["words"]
    assert desk.stored().lines[1].amount == amount
    page = client.get(f"/formulas/{formula}").text
    assert desk.fields(page)["line.g.amount"] == [amount]
    assert words in unescape(page)


def test_markup_in_any_text_is_shown_as_text(desk: Any, client: FlaskClient, formula: int) -> None:
    evil = '"><script>alert(1)</script>'
    changes = dict.fromkeys(
        ("name", "product_type", "notes", "line__o__typed", "line__o__note", "phase__a__method"), evil
    )
    told = desk.save(desk.typed(**changes), live=True)
    assert "<script>alert" not in "".join(told.get_json()["parts"].values())
    for path in (f"/formulas/{formula}", "/formulas"):
        assert "<script>alert" not in client.get(path).text


def test_signs_no_field_can_hold_are_left_out_and_everything_else_stays(desk: Any) -> None:
    name = "Cr\u0000e\u0301me \u202e🧴\u0007"
    desk.save(desk.typed(name=name, phase__b__method="One\r\nTwo\u0000"))
    draft = desk.stored()
    assert draft.name == "Cre\u0301me \u202e🧴"
    assert draft.phases[1].method == "One\nTwo"


def test_broken_coding_does_not_break_the_page(client: FlaskClient, formula: int) -> None:
    body = b"line=g&line.g.typed=%ED%A0%80&line.g.amount=%FF5&base=%7B&row_version=x&editor=%00"
    answer = client.post(
        f"/formulas/{formula}", data=body, content_type="application/x-www-form-urlencoded", headers={"X-Live": "1"}
    )
    assert answer.status_code in (200, 409)


def test_a_text_that_is_too_long_is_refused_with_the_figures_and_kept_on_the_page(desk: Any) -> None:
    form = desk.typed(notes="x" * 10_001, name="Long")
    answer = desk.save(form)
    assert answer.status_code == 422
    assert "Shorten this to 10,000 characters; it has 10,001." in answer.text
    assert "<title>Error: " in answer.text
    assert desk.fields(answer.text)["notes"] == ["x" * 10_001]
    assert desk.fields(answer.text)["row_version"] == form["row_version"]
    assert desk.stored().name == "Cream"
    assert desk.save(form, live=True).status_code == 422


def test_more_lines_than_a_formula_holds_are_refused(desk: Any, formula: int) -> None:
    form = desk.typed()
    ids = [f"n{n}" for n in range(301)]
    form |= {"line": ids} | {f"line.{i}.typed": ["Water"] for i in ids}
    answer = desk.save(form)
    assert answer.status_code == 422
    assert "A formula holds at most 300 lines" in answer.text
    assert "n300" in answer.text
    assert len(desk.stored().lines) == 3


def test_a_code_of_another_formula_is_told_at_its_field(desk: Any, store: Store, formula: int) -> None:
    create(store, "Balm", code="B")
    told = desk.save(desk.typed(code="B"), live=True).get_json()
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
def test_rows_are_moved_and_removed_by_buttons(desk: Any, do: str, order: dict[str, list[str]]) -> None:
    desk.save(desk.typed(do=do))
    draft = desk.stored()
    assert {phase.id: [line.id for line in draft.lines_of(phase.id)] for phase in draft.phases} == order
    assert [phase.id for phase in draft.phases] == list(order)


def test_undo_and_redo_from_the_page(desk: Any) -> None:
    desk.save(desk.typed(do="line-remove:g"))
    desk.save(desk.typed(do="undo"))
    assert len(desk.stored().lines) == 3
    desk.save(desk.typed(do="redo"))
    assert len(desk.stored().lines) == 2
    answer = desk.save(desk.typed(do="redo"))
    assert answer.status_code == 422
    assert "There is nothing to redo." in answer.text


def test_undo_takes_back_what_was_typed_with_it(desk: Any) -> None:
    desk.save(desk.typed(line__g__amount="9", do="undo"))
    assert desk.stored().lines[1].amount == "5"
    desk.save(desk.typed(do="redo"))
    assert desk.stored().lines[1].amount == "9"


def test_five_more_rows_and_another_phase_without_script(desk: Any, client: FlaskClient, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}", data=desk.typed(do="rows"), follow_redirects=True)
    assert answer.text.count('name="line"') == 3 + 2 * 5
    answer = client.post(f"/formulas/{formula}", data=desk.typed(do="add-phase"), follow_redirects=True)
    assert answer.text.count('class="phase"') == 3


def test_a_library_material_is_put_on_the_shelf_by_choosing_it(desk: Any, client: FlaskClient) -> None:
    found = client.get("/formulas/suggest?q=squalane").get_json()
    form = desk.typed(line__o__typed="squal", line__o__choice=found[0]["value"])
    told = desk.save(form, live=True).get_json()
    assert told["named"] == {"o": found[0]["name"]}
    line = desk.stored().lines[2]
    assert (line.typed, line.material_id is not None) == (found[0]["name"], True)


def test_a_name_that_is_not_known_offers_what_it_may_mean(desk: Any, client: FlaskClient, formula: int) -> None:
    desk.save(desk.typed(line__o__typed="Moon dust"))
    page = client.get(f"/formulas/{formula}").text
    assert "Moon dust is not on the shelf." in page
    told = desk.save(desk.typed(line__o__typed="glycerine"), live=True).get_json()
    assert "take:o:shelf:2" in told["offers"]["o"]
    desk.save(desk.typed(line__o__typed="Moon dust", do="take:o:bare"))
    assert desk.stored().lines[2].material_id == 4


def test_amounts_of_a_batch_become_percentages(desk: Any) -> None:
    amounts = {"basis": "amounts", "batch": "1 kg", "line__g__amount": "50 g", "line__o__amount": "0.12 kg"}
    desk.save(desk.typed(**amounts))
    form = desk.typed(do="as-percentages", **amounts)
    desk.save(form)
    draft = desk.stored()
    assert (draft.basis, [line.amount for line in draft.lines]) == ("w/w", ["", "5", "12"])


def test_a_sum_gives_way_to_its_result_and_undo_brings_it_back(desk: Any) -> None:
    def asked(word: str, amount: str) -> str:
        return str(desk.save(desk.typed(line__g__amount=amount, do=word), live=True).get_json()["said"])

    def stored() -> str:
        return next(line.amount for line in desk.stored().lines if line.id == "g")

    asked("recalculate", "6+1")
    assert asked("line-sum:g", "6+1") == "Worked out 6+1."
    assert stored() == "7"
    asked("undo", "7")
    assert stored() == "6+1"
    assert asked("line-sum:o", "6+1") == ""
