"""Two pages on one formula, pasted rows, and versions, through the test client."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from flask.testing import FlaskClient
from markupsafe import escape

from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create, open_draft
from app.work.formulas.versions import keep_version

# -- two pages at once


def test_the_later_save_is_told_what_the_earlier_changed(desk: Any) -> None:
    later = desk.typed(line__g__amount="8", line__o__amount="10")
    desk.save(desk.typed(line__g__amount="7", name="Rich cream"))
    answer = desk.save(later)
    assert answer.status_code == 409
    words = re.sub(r"\s+", " ", answer.text)
    assert "Name: Cream became Rich cream" in words
    assert "yours: 8" in words
    assert "theirs: 7" in words
    kept = desk.fields(answer.text)
    assert kept["line.g.amount"] == ["8"]
    assert kept["base"] == later["base"]
    assert kept["row_version"] == later["row_version"]
    assert desk.stored().lines[1].amount == "7"


@pytest.mark.parametrize(
    ("do", "pick", "settled"),
    [
        ("settle:merge", "mine", ("Rich cream", ["", "8", "10"])),
        ("settle:merge", "theirs", ("Rich cream", ["", "7", "10"])),
        ("settle:mine", "mine", ("Cream", ["", "8", "10"])),
        ("settle:theirs", "mine", ("Rich cream", ["", "7", "12"])),
    ],
)
def test_a_conflict_is_settled_three_ways(desk: Any, do: str, pick: str, settled: tuple[str, list[str]]) -> None:
    later = desk.typed(line__g__amount="8", line__o__amount="10")
    desk.save(desk.typed(line__g__amount="7", name="Rich cream"))
    kept = desk.fields(desk.save(later).text)
    answer = desk.save(kept | {"do": [do], "pick.line.g.amount": [pick]})
    assert answer.status_code == 303
    draft = desk.stored()
    assert (draft.name, [line.amount for line in draft.lines]) == settled
    assert all(line.material_id for line in draft.lines)


def test_a_choice_about_a_state_that_has_changed_again_is_asked_anew(desk: Any) -> None:
    later = desk.typed(line__g__amount="8")
    desk.save(desk.typed(line__g__amount="7"))
    kept = desk.fields(desk.save(later).text)
    desk.save(desk.typed(line__g__amount="6"))
    answer = desk.save(kept | {"do": ["settle:mine"]})
    assert answer.status_code == 409
    assert "theirs: 6" in answer.text
    assert desk.stored().lines[1].amount == "6"


@pytest.mark.parametrize(
    "base",
    [
        "",
        "{",
        "[]",
        "7",
        '{"lines": 5}',
        '{"name": {}}',
        '{"lines": [{"id": "g", "phase": "a", "typed": ["x"], "material_id": [1]}]}',
        '{"lines": [{"id": "g", "phase": "a", "typed": "Glycerin", "material_id": 999}]}',
        "[" * 5000,
    ],
)
def test_a_start_that_is_not_our_own_writing_counts_as_none(desk: Any, base: str) -> None:
    later = desk.typed(line__g__amount="8", base=base)
    desk.save(desk.typed(line__g__amount="7"))
    answer = desk.save(later)
    assert answer.status_code == 409
    kept = desk.fields(answer.text) | {"do": ["settle:merge"]}
    assert desk.save(kept).status_code == 303


def test_an_open_page_gets_the_conflict_as_a_part(desk: Any) -> None:
    later = desk.typed(line__g__amount="8")
    desk.save(desk.typed(line__g__amount="7"))
    answer = desk.save(later, live=True)
    assert answer.status_code == 409
    assert "Keep mine" in answer.get_json()["conflict"]


# -- pasted rows


def test_pasted_rows_are_shown_before_they_are_used(desk: Any, client: FlaskClient, store: Store, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}/paste", data={"rows": "Glycerin\t1\nNever heard\t2,5\n", "phase": "b"})
    assert answer.status_code == 200
    assert len(desk.stored().lines) == 3
    form = desk.fields(answer.text) | {"choice.0": ["shelf:2"], "choice.1": ["keep"], "phase": ["b"]}
    assert client.post(f"/formulas/{formula}/paste/use", data=form).status_code == 303
    added = desk.stored().lines[3:]
    assert [(line.phase, line.typed, line.amount, line.material_id) for line in added] == [
        ("b", "Glycerin", "1", 2),
        ("b", "Never heard", "2,5", None),
    ]
    with store.reading() as session:
        assert open_draft(session, formula).undo == "Pasted 2 rows"


def test_ten_thousand_pasted_lines_are_refused_and_kept(desk: Any, client: FlaskClient, formula: int) -> None:
    text = "Glycerin\t0.01\n" * 10_000
    answer = client.post(f"/formulas/{formula}/paste", data={"rows": text})
    assert answer.status_code == 422
    assert "There are 10,000 rows; a formula holds 300 lines, 297 are free." in answer.text
    assert desk.fields(answer.text)["rows"][0].count("Glycerin") == 10_000


def test_going_to_paste_saves_what_is_typed_first(desk: Any, formula: int) -> None:
    answer = desk.save(desk.typed(line__g__amount="9", do="paste"))
    assert answer.headers["Location"] == f"/formulas/{formula}/paste"
    assert desk.stored().lines[1].amount == "9"


# -- versions


def test_keeping_a_version_saves_what_is_typed_first(desk: Any, client: FlaskClient, formula: int) -> None:
    form = desk.typed(line__g__amount="9", version_note="More glycerin", who="Mara")
    answer = client.post(f"/formulas/{formula}/versions", data=form, follow_redirects=True)
    assert "More glycerin" in answer.text
    assert 'value="Mara"' in answer.text
    page = client.get(f"/formulas/{formula}/versions/1").text
    assert ">9<" in page
    assert "q.s. 79<" in page


def test_a_draft_that_does_not_add_up_is_not_kept_and_says_where(desk: Any, client: FlaskClient, formula: int) -> None:
    form = desk.typed(line__g__amount="99", version_note="Too much")
    answer = client.post(f"/formulas/{formula}/versions", data=form)
    assert answer.status_code == 422
    assert "The other lines add up to 111 %; take 11 away." in answer.text
    assert 'href="#line.w.amount"' in answer.text
    assert 'value="Too much"' in answer.text


def test_versions_are_compared_branched_and_taken_up_again(
    desk: Any, client: FlaskClient, store: Store, formula: int
) -> None:
    keep_version(store, formula, "One", "")
    desk.save(desk.typed(line__g__amount="9"))
    page = client.get(f"/formulas/{formula}/compare?left=1&right=draft").text
    assert "2 lines differ" in page
    assert "+4" in page
    long = "<b>" + "x" * 300
    refused = client.post(f"/formulas/{formula}/versions/1/branch", data={"name": long, "key": "a"})
    assert (refused.status_code, escape(long) in refused.text) == (422, True)
    assert 'href="#name"' in refused.text
    branched = client.post(f"/formulas/{formula}/versions/1/branch", data={"name": "Light cream", "key": "b"})
    assert "Light cream" in client.get(branched.headers["Location"]).text
    client.post(f"/formulas/{formula}/versions/1/use")
    assert desk.stored().lines[1].amount == "5"


@pytest.mark.parametrize("side", ["9", "x", "-1", "9" * 30])
def test_a_version_that_is_not_there_cannot_be_compared(client: FlaskClient, formula: int, side: str) -> None:
    assert client.get(f"/formulas/{formula}/compare?left={side}").status_code == 404


def test_a_draft_that_does_not_add_up_cannot_be_compared_yet(
    desk: Any, client: FlaskClient, store: Store, formula: int
) -> None:
    keep_version(store, formula, "", "")
    desk.save(desk.typed(line__g__amount="99"))
    assert client.get(f"/formulas/{formula}/compare").status_code == 422


# -- how much it asks of the database


def test_the_page_sends_as_many_statements_however_long_the_formula(
    desk: Any,
    client: FlaskClient,
    store: Store,
    formula: int,
    statements: Callable[[], AbstractContextManager[list[str]]],
) -> None:
    client.get(f"/formulas/{formula}")
    with statements() as few:
        client.get(f"/formulas/{formula}")
    lines = tuple(DraftLine(f"n{n}", "p", ("Water", "Glycerin", "Oil")[n % 3], None, "1", not n) for n in range(60))
    longer = create(store, "Long", content=Draft(phases=(DraftPhase("p"),), lines=lines))
    with statements() as many:
        client.get(f"/formulas/{longer}")
    assert len(many) == len(few)
    assert len(few) <= 19
    other = type(desk)(client, store, longer)
    form = other.typed(line__n5__amount="2")
    with statements() as saving:
        assert other.save(form, live=True).status_code == 200
    assert len(saving) <= 22
