"""The pH pages without a browser: headings, typed text kept, hostile input told at its field."""

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from app.store.engine import Store
from app.work.batches.loading import load_batch
from app.work.ph.sessions import look_at_session

HOSTILE = ["", "nan", "1e400", "-1", "99999999999999999999", "１２", "<script>alert(1)</script>", "1,2,3", "\x00"]


@pytest.fixture
def started(client: FlaskClient, gel: Any) -> str:
    form = {"material_id": gel.materials["alkali"], "target": "6.2", "batch_g": "491", "who": "Ines", "key": "s"}
    answer = client.post(f"/batches/{gel.batch_id}/ph/start", data=form)
    assert answer.status_code == 303
    return f"/batches/{gel.batch_id}/ph"


def form_of(page: str, action: str) -> dict[str, str]:
    """Read the hidden fields of a form of the page."""
    form = page.split(f'action="{action}"', 1)[1].split("</form>", 1)[0]
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))


def send(client: FlaskClient, path: str, verb: str, **typed: str) -> Any:
    page = client.get(path).get_data(as_text=True)
    action = next(one for one in re.findall(r'action="([^"]+)"', page) if one.endswith(f"/{verb}"))
    return client.post(action, data={**form_of(page, action), "who": "Ines", **typed})


def test_the_page_starts_with_what_the_formula_says(client: FlaskClient, gel: Any) -> None:
    page = client.get(f"/batches/{gel.batch_id}/ph").get_data(as_text=True)
    assert 'value="6.2"' in page
    assert 'value="491"' in page
    assert "Sodium hydroxide 10 %" in page


def test_one_step_at_a_time_with_its_caution(client: FlaskClient, started: str) -> None:
    page = client.get(started).get_data(as_text=True)
    assert "Predicted in all" in page
    for word in ("goggles", "gloves", "long sleeves", "never water to alkali", "aluminium", "Ventilate", "Splash"):
        assert word in page
    assert "pH reading" in page.split("Measure without adding")[1]
    send(client, started, "addition", grams="4")
    page = client.get(started).get_data(as_text=True)
    assert "Stir, wait, measure" in page
    send(client, started, "reading", ph="5.0", instrument="meter", temperature="21", sure="5.0")
    page = client.get(started).get_data(as_text=True)
    assert "Left to add" in page
    assert 'class="fitted"' in page


@pytest.mark.parametrize(
    ("verb", "field"), [("addition", "grams"), ("reading", "ph"), ("drops", "drop_grams"), ("start", "batch_g")]
)
def test_hostile_numbers_are_told_at_their_field(client: FlaskClient, gel: Any, verb: str, field: str) -> None:
    if verb != "start":
        start = {"material_id": gel.materials["alkali"], "target": "6.2", "batch_g": "491", "who": "Ines", "key": "s"}
        client.post(f"/batches/{gel.batch_id}/ph/start", data=start)
    sent = {"dropper": "P", "drop_count": "20", "target": "6.2", "material_id": gel.materials["alkali"]}
    for text in HOSTILE:
        answer = send(client, f"/batches/{gel.batch_id}/ph", verb, **sent, **{field: text})
        page = answer.get_data(as_text=True)
        assert answer.status_code == 422, text
        assert "<title>Error: " in page, text
        assert f'id="{field}-fault"' in page, text
        assert "<script>alert" not in page, text


def test_what_was_typed_is_kept_beside_the_message(client: FlaskClient, started: str) -> None:
    page = send(client, started, "reading", ph="six", temperature="21.5", instrument="strip").get_data(as_text=True)
    assert 'value="six"' in page
    assert 'value="21.5"' in page
    assert re.search(r'value="strip"\s+checked', page)


@pytest.mark.parametrize("uncertainty", ["", "0", "nan", "9"])
def test_ones_own_uncertainty_must_be_a_number(client: FlaskClient, started: str, uncertainty: str) -> None:
    answer = send(client, started, "reading", ph="5", instrument="own", uncertainty=uncertainty)
    assert answer.status_code == 422
    assert 'id="uncertainty-fault"' in answer.get_data(as_text=True)


def test_an_addition_larger_than_the_beaker_is_questioned(client: FlaskClient, started: str) -> None:
    answer = send(client, started, "addition", grams="4000")
    assert answer.status_code == 422
    assert "more than the 491 g" in answer.get_data(as_text=True)


def test_a_stale_page_keeps_what_was_typed_and_says_so(client: FlaskClient, gel: Any, started: str) -> None:
    page = client.get(started).get_data(as_text=True)
    action = f"{started}/1/addition"
    old = form_of(page, action)
    send(client, started, "addition", grams="3")
    answer = client.post(action, data={**old, "grams": "2.5"})
    assert answer.status_code == 409
    assert "in the meantime" in answer.get_data(as_text=True)
    assert 'value="2.5"' not in page
    assert len(look_at_session(client.application.extensions["store"], gel.batch_id).running.rows) == 1


def test_pressing_twice_takes_the_entry_once(client: FlaskClient, gel: Any, started: str, store: Store) -> None:
    page = client.get(started).get_data(as_text=True)
    action = f"{started}/1/addition"
    form = {**form_of(page, action), "grams": "3", "who": "Ines"}
    assert {client.post(action, data=form).status_code for _ in range(2)} == {303}
    with store.reading() as session:
        weights = {one.name: one.actual_g for one in load_batch(session, gel.batch_id).lines}
    assert str(weights["Sodium hydroxide 10 %"]) == "3"


def test_overshoot_shows_the_correction_with_its_warnings(client: FlaskClient, started: str) -> None:
    send(client, started, "addition", grams="14")
    send(client, started, "reading", ph="11.2")
    page = client.get(started).get_data(as_text=True)
    assert "Too high: correct with Citric Acid" in page
    assert "gel thins" in page
    assert "Concentrated acid irritates" in page


def test_the_session_is_in_the_batch_record_with_its_plot(client: FlaskClient, gel: Any, started: str) -> None:
    send(client, started, "addition", grams="4")
    send(client, started, "reading", ph="5.1")
    page = client.get(f"/batches/{gel.batch_id}").get_data(as_text=True)
    assert "pH at the bench" in page
    assert 'class="drawing"' in page
    assert "5.1 ± 0.1" in page


def test_the_session_ends_and_goes_back_into_the_formula(client: FlaskClient, started: str) -> None:
    send(client, started, "addition", grams="8")
    assert send(client, started, "end").status_code == 303
    assert send(client, started, "update-formula").status_code == 303
    assert "As made, batch" in client.get("/formulas/1").get_data(as_text=True)


@pytest.mark.parametrize(
    "path", ["/batches/99/ph", "/formulas/99/ph", "/formulas/99/ph/stock", f"/batches/{'9' * 20}/ph"]
)
def test_what_is_not_there_is_not_found(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("verb", ["addition", "reading", "take-back", "end", "update-formula"])
def test_an_unknown_session_is_not_found(client: FlaskClient, gel: Any, verb: str) -> None:
    answer = client.post(f"/batches/{gel.batch_id}/ph/77/{verb}", data={"grams": "1", "ph": "5"})
    assert answer.status_code == 404


def test_the_full_page_compares_and_names_what_decides(client: FlaskClient, gel: Any) -> None:
    page = client.get(f"/formulas/{gel.formula_id}/ph").get_data(as_text=True)
    for words in ("Compare pH adjusters", "Compare thickeners", "Preservation in full", "challenge test"):
        assert words in page
    assert "at most 2.5 % in leave-on" in page.lower()


def test_choosing_a_neutraliser_and_a_thickener_writes_the_draft(client: FlaskClient, gel: Any) -> None:
    path = f"/formulas/{gel.formula_id}/ph"
    for verb, inci in (("neutraliser", "Triethanolamine"), ("thickener", "Hydroxyethylcellulose")):
        form = form_of(client.get(path).get_data(as_text=True), f"{path}/{verb}")
        assert client.post(f"{path}/{verb}", data={**form, "inci": inci}).status_code == 303
        row = client.get(path).get_data(as_text=True).split(f'choice-name">{inci}')[1]
        assert "in the formula</span>" in row.split("</summary>")[0]


def test_a_choice_that_cannot_stand_is_told_and_writes_nothing(client: FlaskClient, gel: Any) -> None:
    path = f"/formulas/{gel.formula_id}/ph"
    assert client.post(f"{path}/neutraliser", data={"inci": "Nothing", "row_version": "2"}).status_code == 422
    stale = client.post(f"{path}/thickener", data={"inci": "Xanthan Gum", "row_version": "0"})
    assert stale.status_code == 409
    assert "choose again" in stale.get_data(as_text=True)
    assert "Carbomer powder" in client.get(f"/formulas/{gel.formula_id}").get_data(as_text=True)


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("field", ["assay", "strength", "total"])
def test_a_stock_solution_tells_what_it_cannot_read(client: FlaskClient, gel: Any, field: str, text: str) -> None:
    asked = {"start": "naoh-pellets", "shown": "naoh-pellets", "assay": "98", "strength": "10", "total": "100"}
    answer = client.get(f"/formulas/{gel.formula_id}/ph/stock", query_string={**asked, field: text})
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.get_data(as_text=True)


def test_a_stock_solution_is_worked_out_with_its_label(client: FlaskClient, gel: Any) -> None:
    page = client.get(f"/formulas/{gel.formula_id}/ph/stock?start=naoh-pellets").get_data(as_text=True)
    assert "10.20 g" in page
    assert "CORROSIVE" in page
    assert "never water to alkali" in page
    changed = client.get(f"/formulas/{gel.formula_id}/ph/stock?start=lactic&shown=naoh-pellets&strength=10&assay=98")
    assert 'value="88"' in changed.get_data(as_text=True)


def test_a_decided_batch_shows_its_session_and_takes_no_more(client: FlaskClient, gel: Any, started: str) -> None:
    send(client, started, "addition", grams="8")
    old = form_of(client.get(started).get_data(as_text=True), f"{started}/1/reading")
    page = client.get(f"/batches/{gel.batch_id}").get_data(as_text=True)
    decided = {**form_of(page, f"/batches/{gel.batch_id}/decide"), "state": "rejected", "who": "Tom", "why": "spilt"}
    assert client.post(f"/batches/{gel.batch_id}/decide", data=decided).status_code == 303
    page = client.get(started).get_data(as_text=True)
    assert "rejected" in page
    assert "Record addition" not in page
    assert "Additions and readings" in page
    refused = client.post(f"{started}/1/reading", data={**old, "ph": "6.1"})
    assert refused.status_code == 409
    assert "not overwritten" in refused.get_data(as_text=True)


def test_drops_of_a_weighed_dropper_are_taken_down_in_grams(client: FlaskClient, gel: Any, started: str) -> None:
    send(
        client,
        started,
        "drops",
        material_id=gel.materials["alkali"],
        dropper="Pipette",
        drop_count="20",
        drop_grams="1,0",
    )
    page = client.get(started).get_data(as_text=True)
    assert "50.0 mg a drop" in page
    dropper = re.findall(r'<option value="(\d+)"[^>]*>Pipette', page)[0]
    send(client, started, "addition", drops="40", dropper_id=dropper)
    assert ", 40 drops" in client.get(started).get_data(as_text=True)


def test_a_reading_that_cannot_be_is_asked_about_and_kept(client: FlaskClient, started: str) -> None:
    send(client, started, "addition", grams="3")
    page = send(client, started, "reading", ph="8.5").get_data(as_text=True)
    assert re.search(r"You typed 8\.5; about \d\.\d was expected\. Is it 8\.5\?", page)
    assert 'value="8.5"' in page
    assert send(client, started, "reading", ph="8.5", sure="8.5").status_code == 303
    page = client.get(started).get_data(as_text=True)
    assert "Measure again" in page
    assert "Record addition" not in page.split("More")[0].split('id="now"')[1].split("</section>")[0]


def test_what_goes_into_the_formula_is_shown_before_the_button(client: FlaskClient, started: str) -> None:
    send(client, started, "addition", grams="8")
    send(client, started, "end")
    page = client.get(started).get_data(as_text=True)
    shown = page.split("Update the formula from this batch")[1]
    assert "<strong>1.6032 %</strong>" in shown
    assert "8 g in 499 g are 1.6032 %" in shown


def test_a_balm_is_offered_no_ph_session(demo_client: FlaskClient) -> None:
    page = demo_client.get("/batches").get_data(as_text=True)
    form = {"formula": balm(demo_client), "size": "300 g", "planned_on": "2026-11-30", "made_by": "Ines"}
    path = demo_client.post("/batches/new", data=form).headers["Location"]
    page = demo_client.get(path).get_data(as_text=True)
    assert "Adjust the pH" not in page
    bench = demo_client.get(f"{path}/ph").get_data(as_text=True)
    assert "without water there is no pH" in bench
    assert "Start the session" not in bench


def balm(client: FlaskClient) -> str:
    page = client.get("/formulas").get_data(as_text=True)
    return re.findall(r'href="/formulas/(\d+)"[^>]*>[^<]*[Bb]alm', page)[0]
