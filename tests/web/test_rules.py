"""The pages of the rules: findings beside the lines, answers, tables, values from memory, the paper."""

import re
from dataclasses import replace
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.reference.product_kinds import product_kinds
from app.store.engine import Store
from app.store.workshop import Jurisdiction, the_workshop
from app.web.paging import ROWS
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft
from app.work.formulas.versions import keep_version
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.rules.tables import tables

SCRIPT = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>"
LONG = "x" * 200_000
VALUE = {"table": "ingredients", "row": "Xanthan Gum", "column": "natural_origin_index"}
GOOD = {"value": "0,97", "source": "Supplier letter, 3 March 2026", "who": "Ines"}


def text_of(answer: TestResponse) -> str:
    return unescape(answer.get_data(as_text=True))


@pytest.fixture
def formula(store: Store) -> int:
    for name in ("Aqua", "Sodium Benzoate", "Glycerin"):
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))
    lines = (DraftLine("w", "a", "Aqua", qs=True), DraftLine("b", "a", "Sodium Benzoate", None, "1"))
    draft = Draft(phases=(DraftPhase("a"),), lines=lines, product_type="hand cream", target_ph="4.8")
    return create(store, "Hand cream", content=draft)


def mark_of(client: FlaskClient, formula: int) -> str:
    """Give the fingerprint of the first finding on the page, which is the gravest."""
    found = re.search(r'name="finding" value="(\w+)"', client.get(f"/formulas/{formula}/checks").text)
    assert found
    return found[1]


def answer(client: FlaskClient, formula: int, **typed: str) -> TestResponse:
    form = {"finding": mark_of(client, formula), "reason": "A trial, not for sale.", "who": "Ines"}
    return client.post(f"/formulas/{formula}/checks", data={**form, **typed})


def test_a_stop_stands_beside_the_lines_with_word_and_figures(client: FlaskClient, formula: int) -> None:
    page = text_of(client.get(f"/formulas/{formula}"))
    assert '<div class="finding stop"' in page
    assert "Sodium Benzoate: 0.8475 % as benzoic acid, over the limit of 0.5 % for leave-on." in page
    assert f'href="/formulas/{formula}/checks"' in page
    assert "European Commission CosIng" in page


def test_an_open_page_gets_the_checks_with_every_save(client: FlaskClient, store: Store, formula: int) -> None:
    with store.reading() as session:
        there = open_draft(session, formula)
    form = {"row_version": str(there.row_version), "editor": "e", "base": there.draft.to_json(), "basis": "w/w"}
    form |= {"name": "Hand cream", "exposure": "leave-on", "phase": "a", "line": "b", "line.b.phase": "a"}
    form |= {"line.b.typed": "Sodium Benzoate", "line.b.amount": "0.4", "target_ph": "4.8"}
    assert client.post(f"/formulas/{formula}", data=form, headers={"X-Live": "1"}).status_code == 200
    found = client.get(f"/formulas/{formula}/follows?open=checks").get_json()
    assert "Not checked" in found["bodies"]["checks"]
    assert "finding stop" not in found["bodies"]["checks"]


def test_the_checks_cost_two_statements(client: FlaskClient, statements, formula: int) -> None:
    client.get(f"/formulas/{formula}")
    with statements() as sent:
        client.get(f"/formulas/{formula}")
    ours = [one for one in sent if "finding_answer" in one or "value_correction" in one]
    assert len(ours) == 2
    with statements() as sent:
        client.get(f"/formulas/{formula}/checks")
    assert len([one for one in sent if one.startswith("SELECT")]) <= 14


def test_an_answer_is_shown_with_who_and_when_and_asked_for_again_after_a_change(
    client: FlaskClient, store: Store, formula: int
) -> None:
    taken = answer(client, formula)
    assert taken.status_code == 303
    assert "A trial, not for sale." in text_of(client.get(f"/formulas/{formula}/checks"))
    assert "1 answered" in text_of(client.get(f"/formulas/{formula}"))
    with store.reading() as session:
        there = open_draft(session, formula)
    lines = tuple(replace(one, amount="1.1") if one.id == "b" else one for one in there.draft.lines)
    save_draft(store, formula, replace(there.draft, lines=lines), SaveOrigin(there.row_version, "t"))
    page = text_of(client.get(f"/formulas/{formula}/checks"))
    assert "A trial, not for sale." not in page
    assert "EU: 1 stop" in page


def test_an_answer_without_reason_or_name_keeps_what_was_typed(client: FlaskClient, formula: int) -> None:
    refused = answer(client, formula, who=" ")
    page = text_of(refused)
    assert refused.status_code == 422
    assert "<title>Error: " in page
    assert "Enter who gives this answer." in page
    assert ">A trial, not for sale.</textarea>" in page
    assert "Enter the reason in a sentence or two." in text_of(answer(client, formula, reason=""))


@pytest.mark.parametrize("mark", ["", "nonsense", SCRIPT, "0" * 32, LONG])
def test_an_answer_to_what_is_not_there_is_refused_and_not_lost(client: FlaskClient, formula: int, mark: str) -> None:
    refused = answer(client, formula, finding=mark)
    assert refused.status_code == 422
    assert "no longer there as it was" in text_of(refused)
    assert "A trial, not for sale." in text_of(refused)


def test_what_people_write_is_shown_as_text(client: FlaskClient, formula: int) -> None:
    assert answer(client, formula, reason=SCRIPT, who=SCRIPT[:60]).status_code == 303
    for path in ("checks", "checks-sheet", ""):
        page = client.get(f"/formulas/{formula}/{path}".rstrip("/")).text
        assert "<script>alert" not in page
        assert "<img src=x" not in page


def test_a_version_shows_its_findings_with_the_answers(client: FlaskClient, store: Store, formula: int) -> None:
    version = keep_version(store, formula, "", "Ines")
    page = text_of(client.get(f"/formulas/{formula}/versions/1"))
    assert "Checks, EU: 1 stop" in page
    sent = {"finding": mark_of(client, formula), "reason": "Kept as a trial.", "who": "Bo", "version": str(version)}
    assert client.post(f"/formulas/{formula}/checks", data=sent).status_code == 303
    assert "Kept as a trial." in text_of(client.get(f"/formulas/{formula}/versions/1"))
    assert "version 1" in text_of(client.get(f"/formulas/{formula}/checks-sheet?version={version}"))


def test_the_home_market_comes_first(client: FlaskClient, store: Store, formula: int) -> None:
    with store.transaction() as session:
        the_workshop(session).jurisdiction = Jurisdiction.US
    page = text_of(client.get(f"/formulas/{formula}/checks"))
    assert page.index("US: ") < page.index("EU rules: 1 stop")


def test_an_empty_formula_and_one_that_does_not_add_up_have_their_checks(client: FlaskClient, store: Store) -> None:
    empty = create(store, "Nothing yet")
    assert "There is nothing in the formula yet" in text_of(client.get(f"/formulas/{empty}/checks"))
    lines = (DraftLine("x", "a", "Moon dust", None, "7"), DraftLine("y", "a", "", None, "lots"))
    odd = create(store, "Odd", content=Draft(phases=(DraftPhase("a"),), lines=lines))
    for path in ("checks", "checks-sheet"):
        page = client.get(f"/formulas/{odd}/{path}")
        assert page.status_code == 200
        assert "Moon dust: not on the shelf" in text_of(page)


@pytest.mark.parametrize("path", ["/formulas/99/checks", "/formulas/99/checks-sheet", "/formulas/99/checks-sheet.pdf"])
def test_what_is_not_there_is_not_found(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_a_version_of_another_formula_or_no_number_shows_no_foreign_content(client: FlaskClient, formula: int) -> None:
    assert client.get(f"/formulas/{formula}/checks?version=77").status_code == 404
    assert client.get(f"/formulas/{formula}/checks?version={SCRIPT}").status_code == 200
    assert client.get(f"/formulas/{formula}/checks?version={'9' * 40}").status_code in (200, 404)


@pytest.mark.paper
def test_the_paper_prints_findings_reasons_and_gaps(client: FlaskClient, store: Store, formula: int) -> None:
    from io import BytesIO

    from pypdf import PdfReader

    answer(client, formula)
    paper = client.get(f"/formulas/{formula}/checks-sheet.pdf")
    assert paper.mimetype == "application/pdf"
    assert "checks_HC_draft_" in paper.headers["Content-Disposition"]
    words = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(paper.data)).pages)
    for said in ("over the limit of 0.5 %", "A trial, not for sale.", "Not checked, EU", "Natural origin"):
        assert said in words


def test_the_tables_are_listed_with_dates_counts_and_what_is_missing(client: FlaskClient) -> None:
    page = text_of(client.get("/rules"))
    for table in tables():
        assert f'href="/rules/{table.path}"' in page
    assert "More than a year old" in page
    assert "1736" in page
    assert "Other countries" in page


@pytest.mark.parametrize("path", [table.path for table in tables()])
def test_every_table_shows_its_rows_with_source_and_status(client: FlaskClient, path: str) -> None:
    page = client.get(f"/rules/{path}")
    assert page.status_code == 200
    assert "source" in text_of(page)
    assert client.get(f"/rules/{path}?q={SCRIPT}&status={SCRIPT}").status_code == 200
    assert "<script>alert" not in client.get(f"/rules/{path}?q={SCRIPT}").text
    assert "No row holds all of these words." in text_of(client.get(f"/rules/{path}?q=moonlight"))


def test_rows_of_a_table_are_found(client: FlaskClient) -> None:
    page = text_of(client.get("/rules/limits/EU?q=benzoic+leave-on"))
    assert "0.5 % as benzoic acid" in page
    assert "Retinol" not in page
    assert client.get("/rules/limits/Mars").status_code == 404


def test_values_from_memory_are_found_by_table_and_words(client: FlaskClient) -> None:
    page = text_of(client.get("/rules/from-memory?table=ingredients&q=xanthan+natural"))
    assert "Xanthan Gum" in page
    assert "1 value." in page
    assert "No value from memory found." in text_of(client.get("/rules/from-memory?q=moonlight"))


@pytest.mark.parametrize("page", ["0", "-3", "99999", "two", "9" * 50, SCRIPT])
def test_any_page_of_the_list_is_a_page(client: FlaskClient, page: str) -> None:
    assert client.get(f"/rules/from-memory?page={page}").status_code == 200


def test_a_value_is_put_right_shown_as_the_makers_own_and_taken_back(client: FlaskClient) -> None:
    assert client.post("/rules/from-memory/value", data={**VALUE, **GOOD}).status_code == 303
    page = text_of(client.get("/rules/from-memory?q=xanthan+natural"))
    assert "<strong>0.97</strong>" in page
    assert "yours; shipped 1" in page
    assert "Supplier letter, 3 March 2026" in page
    assert "1 value was corrected here" in text_of(client.get("/rules"))
    again = text_of(client.get("/rules/from-memory/value", query_string=VALUE))
    assert 'value="0.97"' in again
    assert client.post("/rules/from-memory/value", data={**VALUE, "do": "take-back"}).status_code == 303
    assert "Corrected here" not in text_of(client.get("/rules/from-memory"))


def test_a_limit_put_right_shows_in_its_table(client: FlaskClient) -> None:
    place = {"table": "limits/US", "row": "US, Hexachlorophene, not on mucous membranes", "column": "max_percent"}
    client.post("/rules/from-memory/value", data={**place, **GOOD, "value": "0.001"})
    page = text_of(client.get("/rules/limits/US?q=hexachlorophene"))
    assert "0.001 %" in page
    assert "your own" in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": ""}, "value"),
        ({"value": "1.5"}, "value"),
        ({"value": SCRIPT}, "value"),
        ({"value": "1e400"}, "value"),
        ({"source": ""}, "Name the source"),
        ({"source": "x" * 300}, "Shorten this"),
    ],
)
def test_a_correction_that_cannot_be_keeps_what_was_typed(
    client: FlaskClient, typed: dict[str, str], said: str
) -> None:
    form = {**GOOD, **typed}
    refused = client.post("/rules/from-memory/value", data={**VALUE, **form})
    page = text_of(refused)
    assert refused.status_code == 422
    assert said in page
    assert GOOD["who"] in page
    assert 'aria-invalid="true"' in page
    assert "<script>alert" not in refused.text


@pytest.mark.parametrize(
    "place", [{}, {**VALUE, "row": SCRIPT}, {**VALUE, "table": "../etc"}, {**VALUE, "column": LONG[:900]}]
)
def test_no_other_place_can_be_put_right(client: FlaskClient, place: dict[str, str]) -> None:
    assert client.get("/rules/from-memory/value", query_string=place).status_code == 404
    assert client.post("/rules/from-memory/value", data={**place, **GOOD}).status_code == 404
    assert client.post("/rules/from-memory/value", data={**place, "do": "take-back"}).status_code == 404


def test_the_list_is_paged(client: FlaskClient) -> None:
    page = text_of(client.get("/rules/from-memory?page=2"))
    assert page.count(">correct<") == ROWS
    assert "Earlier in the list" in page
    assert "Further in the list" in page


def test_a_long_table_of_rules_is_paged_and_every_row_stands_on_one_page(client: FlaskClient) -> None:
    first, last = (text_of(client.get(f"/rules/product-kinds?page={page}")) for page in (1, 2))
    assert 'href="/rules/product-kinds?page=2"' in first
    rows = len(product_kinds())
    assert [page.count('<td class="source">') for page in (first, last)] == [ROWS, rows - ROWS]
    assert "Page 2 of 2" in last
    assert "Further in the list" not in last


def test_the_library_shows_the_makers_own_value(client: FlaskClient) -> None:
    client.post("/rules/from-memory/value", data={**VALUE, **GOOD})
    page = text_of(client.get("/library/xanthan-gum"))
    assert "<strong>0.97</strong>" in page
    assert "Supplier letter, 3 March 2026" in page


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("Xanthan Gum", "charge", "The checks follow your value"),
        ("Pentylene Glycol", "density_g_ml", "put on the shelf from then on starts with your value"),
        ("Xanthan Gum", "solubility", "no computation follows it"),
    ],
)
def test_the_form_says_what_follows_the_value(client: FlaskClient, row: str, column: str, said: str) -> None:
    query = {"table": "ingredients", "row": row, "column": column}
    assert said in text_of(client.get("/rules/from-memory/value", query_string=query))
