"""The pages that read a label, without a browser."""

import io
import re
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.science.jurisdiction import Jurisdiction
from app.store.engine import Store
from app.store.workshop import the_workshop
from app.work.label_reading import lists
from app.work.label_reading.choosing import Choices
from app.work.label_reading.starting import StartForm, start_formula

LIST = (
    "Aqua, Glycerin, Caprylic/Capric Triglyceride, Cetearyl Alcohol, Urea, Glyceryl Stearate, Panthenol, "
    "Zorbium Extract, Xanthan Gum, Phenoxyethanol, Citric Acid, Linalool"
)
FORM = {"title": "Invented cream", "ingredients": LIST, "product_type": "leave-on cream", "jurisdiction": "EU"}
HOSTILE = {
    "too long": "a" * 60_000,
    "many names": ", ".join(f"n{n}q" for n in range(10_000)),
    "two thousand": ", ".join(f"n{n}q" for n in range(2_000)),
    "nothing": " \n ",
    "signs only": "(((,;[[**",
}
READABLE = {
    "markup": "<script>alert(1)</script>, Aqua",
    "nul": "Aqua\x00, Glycerin",
    "brackets": "Aqua (" * 1_500,
    "one letter": "x," * 9_000,
    "right to left": "Aqua \u202e, Glycerin \u0000",
    "may contain": "+/- " * 3_000 + "Aqua",
}


def text_of(answer: TestResponse) -> str:
    return unescape(re.sub(r"\s+", " ", answer.get_data(as_text=True)))


@pytest.fixture
def cream(store: Store) -> int:
    return lists.start_list(store, lists.ListForm(**FORM))


def told(client: FlaskClient, list_id: int, values: dict[str, str], *, live: bool = False) -> TestResponse:
    keys = list(values)
    data = {"key": keys, "was": [""] * len(keys), "value": list(values.values())}
    return client.post(f"/read-a-label/{list_id}/known", data=data, headers={"X-Live": "1"} if live else {})


def test_a_list_is_read_under_the_law_of_the_workshop_unless_another_is_chosen(
    client: FlaskClient, store: Store
) -> None:
    with store.transaction() as session:
        the_workshop(session).jurisdiction = Jurisdiction.US
    assert re.search(r'value="US"\s+selected', client.get("/read-a-label").text)


def test_a_pasted_list_opens_worked_out(client: FlaskClient) -> None:
    answer = client.post("/read-a-label", data={**FORM, "form_key": "one"})
    assert (answer.status_code, answer.location) == (303, "/read-a-label/1")
    assert client.post("/read-a-label", data={**FORM, "form_key": "one"}).location == "/read-a-label/1"
    page = text_of(client.get("/read-a-label/1"))
    assert page.count('class="strip-svg"') == 12
    assert "never a copy" in page
    assert "The 1 % line most likely sits after" in page
    assert "at most 1 %; all" in page
    assert "not known here; taken by the shape of its name" in page
    assert "Invented cream" in text_of(client.get("/read-a-label"))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_what_is_no_list_is_refused_at_its_field_with_the_text_kept(client: FlaskClient, text: str) -> None:
    answer = client.post("/read-a-label", data={**FORM, "ingredients": text})
    page = text_of(answer)
    assert answer.status_code == 422
    assert '<a href="#ingredients">' in page
    assert 'id="ingredients-fault"' in page
    assert page.startswith("<!doctype html>")
    assert "<title>Error: " in page
    assert " ".join(text.split())[:40] in page


@pytest.mark.parametrize("text", READABLE.values(), ids=READABLE.keys())
def test_hostile_texts_that_hold_names_are_read_and_shown_as_text(client: FlaskClient, text: str) -> None:
    answer = client.post("/read-a-label", data={**FORM, "ingredients": text}, follow_redirects=True)
    assert answer.status_code in (200, 422)
    assert "<script>alert" not in answer.get_data(as_text=True)


def test_known_values_are_taken_and_everything_follows(client: FlaskClient, cream: int) -> None:
    assert told(client, cream, {"UREA": "5", "XANTHAN GUM": "0.2-0.4"}).status_code == 303
    page = text_of(client.get(f"/read-a-label/{cream}"))
    assert 'id="likely-4">5 %' in page
    assert 'value="0.2-0.4"' in page


def test_the_live_answer_gives_the_parts_that_change(client: FlaskClient, cream: int) -> None:
    answer = told(client, cream, {"UREA": "5"}, live=True)
    parts = answer.json["parts"]  # type: ignore[index]
    assert parts["likely-4"].strip() == "5 %"
    assert "<svg" in parts["strip-4"]
    assert {"clashes", "asked", "line-words", "bounds-0", "band-11"} <= set(parts)


@pytest.mark.parametrize("value", ["150", "lots", "-3", "5-2", "<script>", "9" * 4000, "1e400", "NaN"])
def test_a_value_that_makes_no_sense_stays_typed_with_its_fault(client: FlaskClient, cream: int, value: str) -> None:
    answer = told(client, cream, {"UREA": value})
    page = text_of(answer)
    assert answer.status_code == 422
    assert '<a href="#value-4">' in page
    assert f'value="{value}"' in page
    assert "<script>" not in answer.get_data(as_text=True).replace("<script src", "")
    live = told(client, cream, {"UREA": value}, live=True)
    assert live.status_code == 422
    assert set(live.json["faults"]) == {"value-4"}  # type: ignore[index]


def test_only_fields_that_were_changed_are_written(client: FlaskClient, store: Store, cream: int) -> None:
    told(client, cream, {"UREA": "5"})
    stale = {"key": ["UREA", "PANTHENOL"], "was": ["", ""], "value": ["", "1"]}
    client.post(f"/read-a-label/{cream}/known", data=stale)
    with store.reading() as session:
        assert lists.open_list(session, cream).sheet.constraints.values == {"UREA": "5", "PANTHENOL": "1"}


def test_a_clash_offers_to_give_up_each_statement(client: FlaskClient, cream: int) -> None:
    told(client, cream, {"AQUA": "20", "GLYCERIN": "40"})
    page = text_of(client.get(f"/read-a-label/{cream}"))
    assert "These cannot hold together" in page
    assert "would then lie between" in page
    assert 'value="claim:GLYCERIN"' in page
    client.post(f"/read-a-label/{cream}/give-up", data={"statement": "claim:GLYCERIN"})
    assert "These cannot hold together" not in text_of(client.get(f"/read-a-label/{cream}"))
    client.post(f"/read-a-label/{cream}/give-up", data={"statement": "order:UREA"})
    assert "Set aside by you:" in text_of(client.get(f"/read-a-label/{cream}"))
    client.post(f"/read-a-label/{cream}/take-back", data={"statement": "order:UREA"})
    client.post(f"/read-a-label/{cream}/free")
    assert "Set aside by you:" not in text_of(client.get(f"/read-a-label/{cream}"))


@pytest.mark.parametrize("statement", ["", ":", "claim", "gold:UREA", "order:" + "x" * 9000, "order:\x00"])
def test_a_statement_that_is_not_there_changes_nothing(client: FlaskClient, cream: int, statement: str) -> None:
    before = client.get(f"/read-a-label/{cream}").get_data()
    assert client.post(f"/read-a-label/{cream}/give-up", data={"statement": statement}).status_code == 303
    assert client.get(f"/read-a-label/{cream}").get_data() == before


def test_an_unknown_name_is_taught_once_and_can_be_forgotten(client: FlaskClient, cream: int) -> None:
    address = f"/read-a-label/{cream}/teach"
    assert "Zorbium Extract" in text_of(client.get(address, query_string={"printed": "Zorbium Extract"}))
    refused = client.post(address, data={"printed": "Zorbium Extract", "meaning": "Blorbium"})
    assert refused.status_code == 422
    assert 'value="Blorbium"' in text_of(refused)
    client.post(address, data={"printed": "Zorbium Extract", "choice": "Chamomilla Recutita Flower Extract"})
    assert "another way to print Chamomilla" in text_of(client.get(f"/read-a-label/{cream}"))
    assert "Zorbium Extract <span" in text_of(client.get("/read-a-label"))
    client.post("/read-a-label/forget", data={"printed_key": "ZORBIUM EXTRACT"})
    assert "Names you taught" not in text_of(client.get("/read-a-label"))


def test_a_list_is_corrected_and_a_late_correction_keeps_what_was_typed(client: FlaskClient, cream: int) -> None:
    address = f"/read-a-label/{cream}/edit"
    version = re.search(r'name="row_version" value="(\d+)"', text_of(client.get(address)))
    assert version
    seen = {**FORM, "row_version": version[1]}
    assert client.post(address, data={**seen, "ingredients": "Aqua, Glycerin"}).status_code == 303
    late = client.post(address, data={**seen, "title": "Typed late"})
    assert late.status_code == 409
    assert 'value="Typed late"' in text_of(late)
    assert client.post(address, data={**seen, "title": ""}).status_code == 422


def test_the_preview_writes_nothing_and_shows_what_choices_change(
    client: FlaskClient, store: Store, cream: int
) -> None:
    page = text_of(client.get(f"/read-a-label/{cream}/start"))
    assert "Not available." in page
    assert "Setting the pH" in page
    offer = re.search(r'<select id="choice-9".*?<optgroup.*?value="([^"]+)"', page)
    assert offer
    asked = {"name": ["PHENOXYETHANOL", "UREA"], "choice": [offer[1], "out"]}
    changed = text_of(client.get(f"/read-a-label/{cream}/start", query_string=asked))
    assert "What your choices change" in changed
    assert "has Urea, Phenoxyethanol" in changed or "has Phenoxyethanol" in changed
    with store.reading() as session:
        assert lists.open_list(session, cream).started == ()


def test_a_formula_is_started_once_and_compared(client: FlaskClient, cream: int) -> None:
    data = {"formula_name": "Mine", "form_key": "press", "name": ["UREA"], "choice": ["out"]}
    first = client.post(f"/read-a-label/{cream}/start", data=data)
    assert first.status_code == 303
    assert client.post(f"/read-a-label/{cream}/start", data=data).location == first.location
    page = text_of(client.get(first.location))
    assert "missing" in page
    assert 'pair-missing"><td class="number" data-label="List">5</td><th scope="row">Urea' in page
    assert client.get(re.search(r'href="(/formulas/\d+)"', page)[1]).status_code == 200  # type: ignore[index]


def test_a_start_without_a_name_or_with_nothing_left_says_so(client: FlaskClient, cream: int) -> None:
    nameless = client.post(f"/read-a-label/{cream}/start", data={"formula_name": " "})
    assert nameless.status_code == 422
    assert '<a href="#formula_name">' in text_of(nameless)
    page = text_of(client.get(f"/read-a-label/{cream}"))
    keys = re.findall(r'name="key" value="([^"]+)"', page)
    nothing = client.get(f"/read-a-label/{cream}/start", query_string={"name": keys, "choice": ["out"] * len(keys)})
    assert nothing.status_code == 422
    assert "Every name is left out" in text_of(nothing)


def test_a_list_that_no_material_covers_says_so(client: FlaskClient, store: Store) -> None:
    list_id = lists.start_list(store, lists.ListForm("Unknown", "Zorbium Extract, Quaxol"))
    answer = client.get(f"/read-a-label/{list_id}/start")
    assert answer.status_code == 422
    assert "No material holds any of these substances" in text_of(answer)
    assert client.get(f"/read-a-label/{list_id}").status_code == 200


def test_deleting_asks_and_the_list_is_gone(client: FlaskClient, cream: int) -> None:
    assert "Delete the list" in text_of(client.get(f"/read-a-label/{cream}/edit"))
    assert client.post(f"/read-a-label/{cream}/delete").status_code == 303
    assert client.get(f"/read-a-label/{cream}").status_code == 404


@pytest.mark.parametrize("path", ["", "/edit", "/start", "/teach?printed=x", "/compare/1"])
def test_a_list_that_is_not_there_is_not_found(client: FlaskClient, path: str) -> None:
    assert client.get(f"/read-a-label/99{path}").status_code == 404


def test_the_number_of_statements_does_not_grow_with_the_list(
    client: FlaskClient, store: Store, statements: object
) -> None:
    sizes = []
    for text in ("Aqua, Glycerin", LIST):
        list_id = lists.start_list(store, lists.ListForm("One", text))
        with statements() as sent:  # type: ignore[operator]
            client.get(f"/read-a-label/{list_id}")
        sizes.append(len(sent))
    assert sizes[0] == sizes[1]


def test_the_started_formulas_are_named_on_the_page(client: FlaskClient, store: Store, cream: int) -> None:
    formula_id = start_formula(store, cream, Choices(), StartForm("Named here"))
    assert f'<a href="/formulas/{formula_id}">Named here</a>' in text_of(client.get(f"/read-a-label/{cream}"))


def test_what_is_seen_and_measured_is_kept_and_counts(client: FlaskClient, cream: int) -> None:
    before = text_of(client.get(f"/read-a-label/{cream}"))
    assert "Most useful to find out: " in before
    form = {"observed-drying": "50 ± 1", "observed-tail": "scattered", "observed-pack": "3 % urea"}
    assert client.post(f"/read-a-label/{cream}/observed", data=form).status_code == 303
    page = text_of(client.get(f"/read-a-label/{cream}"))
    assert "50 ± 1" in page
    assert "3 % urea" in page
    assert page != before


def test_a_measurement_that_cannot_be_read_keeps_what_was_typed(client: FlaskClient, cream: int) -> None:
    form = {"observed-drying": "about half", "observed-ph": "5.5"}
    answer = client.post(f"/read-a-label/{cream}/observed", data=form)
    assert answer.status_code == 422
    page = text_of(answer)
    assert "about half" in page
    assert 'id="observed-drying-fault"' in page
    assert 'value="5.5"' in page


def test_a_photo_without_a_picture_or_of_nothing_is_answered_at_its_field(client: FlaskClient) -> None:
    assert client.get("/read-a-label/photo").status_code == 200
    empty = client.post("/read-a-label/photo", data={})
    assert empty.status_code == 422
    assert 'id="photo-fault"' in text_of(empty)
    hostile = {"photo": (io.BytesIO(b"<svg onload=alert(1)>"), "list.svg")}
    answer = client.post("/read-a-label/photo", data=hostile, content_type="multipart/form-data")
    assert answer.status_code == 422
    assert "alert(1)" not in text_of(answer)


def test_two_lists_stand_side_by_side_with_what_changed(client: FlaskClient, cream: int) -> None:
    other = LIST.replace("Urea, ", "").replace("Panthenol", "Niacinamide")
    answer = client.post("/read-a-label", data={**FORM, "title": "New recipe", "ingredients": other})
    second = int(answer.location.rsplit("/", 1)[1].split("?")[0])
    assert "Compare the two" in text_of(client.get(f"/read-a-label/{cream}"))
    page = text_of(client.get(f"/read-a-label/{cream}/beside", query_string={"other": second}))
    assert "1 new, 2 gone" in page
    assert "As one product" not in page
    assert client.get(f"/read-a-label/{cream}/beside", query_string={"other": "x"}).status_code == 404
    same = text_of(client.get(f"/read-a-label/{cream}/beside", query_string={"other": cream}))
    assert "As one product" in same
    assert "change places" not in same
    assert "about the same" in same
    names = LIST.split(", ")
    turned = ", ".join([*names[:-2], names[-1].rstrip("."), names[-2]])
    answer = client.post("/read-a-label", data={**FORM, "title": "Other market", "ingredients": turned})
    third = int(answer.location.rsplit("/", 1)[1].split("?")[0])
    assert "change places" in text_of(client.get(f"/read-a-label/{cream}/beside", query_string={"other": third}))
