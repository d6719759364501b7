"""Columns of the ledger by choice, kept for each person."""

from typing import Any

from flask.testing import FlaskClient


def test_chosen_columns_are_shown_and_follow(desk: Any, client: FlaskClient, formula: int) -> None:
    assert "data-c=" not in client.get(f"/formulas/{formula}").text
    form = desk.typed(do="columns") | {"column": ["inci", "active", "nonsense"]}
    assert desk.save(form).status_code == 303
    page = client.get(f"/formulas/{formula}").text
    assert page.count('data-c="inci"') == page.count('data-c="active"') == 5
    assert "nonsense" not in page
    told = desk.save(desk.typed(line__g__amount="6"), live=True).get_json()
    assert told["figures"]["lines"]["g"]["columns"] == {"inci": "Glycerin", "active": "6"}


def test_columns_belong_to_who_chose_them(desk: Any, client: FlaskClient, formula: int) -> None:
    desk.save(desk.typed(do="columns") | {"column": ["price"]})
    with client.session_transaction() as session:
        session["person"] = "Ines"
    assert "data-c=" not in client.get(f"/formulas/{formula}").text
    with client.session_transaction() as session:
        session["person"] = ""
    assert 'data-c="price"' in client.get(f"/formulas/{formula}").text


def test_a_cookie_of_another_kind_counts_as_none(client: FlaskClient, formula: int) -> None:
    for text in ("[1]", "{", '{"": 5}'):
        client.set_cookie("tarebook_columns", text)
        assert client.get(f"/formulas/{formula}").status_code == 200
