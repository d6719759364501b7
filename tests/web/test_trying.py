"""Other amounts beside the draft, and versions compared by what they come to."""

import re
from typing import Any

from flask.testing import FlaskClient

from app.store.engine import Store
from app.work.formulas.draft import Draft
from app.work.formulas.editing import open_draft
from app.work.formulas.versions import keep_version, list_versions


def stored(store: Store, formula: int) -> Draft:
    with store.reading() as session:
        return open_draft(session, formula).draft


def row_version(store: Store, formula: int) -> int:
    with store.reading() as session:
        return open_draft(session, formula).row_version


def test_other_amounts_are_worked_out_and_nothing_is_written(
    desk: Any, client: FlaskClient, store: Store, formula: int
) -> None:
    before = stored(store, formula)
    page = client.get(f"/formulas/{formula}/what-if").text
    assert page.count(" data-change></td>") == 3
    form = {"amount.g": "8", "amount.o": "6+1"}
    answer = client.post(f"/formulas/{formula}/what-if", data=form, headers={"X-Live": "1"})
    told = answer.get_json()
    assert told["lines"]["g"]["change"] == "+3"
    assert told["lines"]["o"]["change"] == "−5"
    assert told["lines"]["w"]["rest"] == "85.00"
    assert told["faults"] == {}
    assert stored(store, formula) == before


def test_what_cannot_be_read_is_said_at_its_line(client: FlaskClient, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}/what-if", data={"amount.g": "x"}, headers={"X-Live": "1"})
    assert "x is not a number" in answer.get_json()["faults"]["line.g.amount"]
    assert "1 amount is missing or cannot be read" in answer.get_json()["outcome"]
    assert re.search(r"Total</th><td[^>]*>100 %</td><td[^>]*>–</td>", answer.get_json()["outcome"])
    page = client.post(f"/formulas/{formula}/what-if", data={"amount.g": "x", "do": "version"})
    assert page.status_code in (409, 422)
    assert 'value="x"' in page.text


def test_tried_amounts_become_the_draft_or_a_version(client: FlaskClient, store: Store, formula: int) -> None:
    form = {"amount.g": "8", "do": "draft", "row_version": str(row_version(store, formula))}
    assert client.post(f"/formulas/{formula}/what-if", data=form).status_code == 303
    assert stored(store, formula).lines[1].amount == "8"
    form = {"amount.g": "9", "do": "version", "note": "More", "row_version": str(row_version(store, formula))}
    assert client.post(f"/formulas/{formula}/what-if", data=form).status_code == 303
    with store.reading() as session:
        assert [row.note for row in list_versions(session, formula)] == ["More"]


def test_amounts_tried_on_an_older_draft_are_not_written_over_it(
    desk: Any, client: FlaskClient, store: Store, formula: int
) -> None:
    old = row_version(store, formula)
    desk.save(desk.typed(line__o__amount="11"))
    form = {"amount.g": "8", "do": "draft", "row_version": str(old)}
    answer = client.post(f"/formulas/{formula}/what-if", data=form)
    assert answer.status_code == 409
    assert "changed in another place" in answer.text
    assert stored(store, formula).lines[1].amount == "5"


def test_versions_are_compared_by_what_they_come_to(desk: Any, client: FlaskClient, store: Store, formula: int) -> None:
    keep_version(store, formula, "First", "")
    desk.save(desk.typed(line__g__amount="13"))
    page = client.get(f"/formulas/{formula}/compare?left=1&right=draft").text
    assert "The same names in another order." in page
    assert page.count('class="pair-') == 2
    assert client.get(f"/formulas/{formula}/compare?left=1&right=draft&every=1").text.count('class="pair-') == 3


def test_a_formula_is_copied_in_one_step(client: FlaskClient, store: Store, formula: int) -> None:
    answer = client.post(f"/formulas/{formula}/copy", data={"key": "once"})
    again = client.post(f"/formulas/{formula}/copy", data={"key": "once"})
    assert answer.headers["Location"] == again.headers["Location"]
    copied = stored(store, int(answer.headers["Location"].rsplit("/", 1)[1]))
    assert copied.name.endswith(", copy")
    assert copied.lines == stored(store, formula).lines
    assert copied.code != stored(store, formula).code


def test_the_card_of_a_line_shows_its_material(client: FlaskClient, store: Store, formula: int) -> None:
    client.post(f"/formulas/{formula}/copy")
    card = client.get(f"/formulas/{formula}/lines/g/card").text
    assert "Glycerin" in card
    assert ", copy" in card
    assert "No material in this line" in client.get(f"/formulas/{formula}/lines/none/card").text


def test_the_card_of_a_line_says_what_is_on_hand(demo_client: FlaskClient) -> None:
    page = demo_client.get("/formulas/1").text
    lines = {name: key for key, name in re.findall(r'name="line\.(\w+)\.typed" value="([^"]+)"', page)}
    card = demo_client.get(f"/formulas/1/lines/{lines['Carbomer']}/card").text
    stock = demo_client.get("/stock?q=Carbomer").text
    free = re.search(r">([\d.]+ g) free<", card)
    assert free
    assert f'<td class="number">{free[1]}</td>' in stock
    assert "pH window" in card
    assert "drawn here" in demo_client.get(f"/formulas/1/lines/{lines['Water, purified']}/card").text
