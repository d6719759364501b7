"""The pages of batches: planned, taken down, read, decided; whatever is typed is kept and never breaks them."""

import re
from urllib.parse import quote_from_bytes

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.work.batches import as_made
from tests.conftest import CountStatements

HOSTILE = [
    "<script>alert(1)</script>",
    "NaN",
    "1e400",
    "-1",
    "",
    "x" * 60_000,
    "nul\x00byte",
    "half \ud800 pair",
    "=cmd|' /C calc'!A0",
    "\u202egnp.exe",
    "1.234,5",
    "٣٤",
    "9" * 400,
]


def plan(client: FlaskClient, **changes: str) -> str:
    form = {"formula": "1", "size": "300 g", "planned_on": "2026-11-30", "made_by": "Ines"} | changes
    return client.post("/batches/new", data=form).headers.get("Location", "")


def body(form: dict[str, str]) -> str:
    """Write a form as a hostile client would: half characters go out as they are."""
    return "&".join(f"{name}={quote_from_bytes(text.encode('utf-8', 'surrogatepass'))}" for name, text in form.items())


def field(page: str, name: str) -> str:
    found = re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)
    return found[1] if found else ""


def test_a_batch_goes_from_plan_to_release(demo_client: FlaskClient) -> None:
    path = plan(demo_client, key="k1")
    assert plan(demo_client, key="k1") == path
    page = demo_client.get(path).text
    assert "Batch HG-2026-002" in page
    ids = re.findall(r'name="actual-(\d+)"', page)
    planned = re.findall(r'class="number planned">([\d.]+)\s*<', page)
    weights = {f"actual-{i}": grams for i, grams in zip(ids, planned, strict=True)}
    weights |= {f"lot-{i}": code for i, code in re.findall(r'<datalist id="lots-(\d+)"><option value="([^"]+)"', page)}
    form = {"row_version": field(page, "row_version"), "who": "Ines", **weights}
    assert demo_client.post(f"{path}/weights", data=form).status_code == 303
    demo_client.post(f"{path}/reading", data={"kind": "pH", "words": "6,1", "who": "Ines"})
    page = demo_client.get(path).text
    assert "in process" in page
    assert "Release batch" not in page
    assert "The yield is not recorded." in page
    demo_client.post(f"{path}/yield", data={"amount": "0.3 kg", "who": "Ines"})
    page = demo_client.get(path).text
    assert "Release batch" in page
    decision = {"row_version": field(page, "row_version"), "who": "Tom", "state": "released", "why": ""}
    assert demo_client.post(f"{path}/decide", data=decision).status_code == 303
    page = demo_client.get(path).text
    assert 'class="state released"' in page
    assert 'name="actual-' not in page
    assert all(f"<strong>{grams} g</strong>" in page for grams in planned)


def test_faults_stand_at_their_fields_and_everything_typed_is_kept(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    first, second = re.findall(r'name="actual-(\d+)"', page)[:2]
    form = {
        "row_version": field(page, "row_version"),
        f"actual-{first}": "270",
        f"actual-{second}": "abc",
        f"lot-{second}": "L77: a trial",
    }
    answer = demo_client.post(f"{path}/weights", data=form)
    assert answer.status_code == 422
    assert "<title>Error: " in answer.text
    assert f'id="actual-{second}-fault"' in answer.text
    assert f'href="#actual-{second}"' in answer.text
    assert field(answer.text, f"actual-{first}") == "270"
    assert 'value="L77: a trial"' in answer.text


def test_an_overtaken_form_keeps_what_was_typed_and_shows_what_stands_there_now(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    version = field(demo_client.get(path).text, "row_version")
    first, _, third = re.findall(r'name="actual-(\d+)"', demo_client.get(path).text)[:3]
    theirs = {"row_version": version, "who": "Ines", f"actual-{first}": "270", f"lot-{first}": "W1: a trial"}
    assert demo_client.post(f"{path}/weights", data=theirs).status_code == 303
    mine = {"row_version": version, "who": "Tom", f"actual-{first}": "271", f"actual-{third}": "0.6"}
    answer = demo_client.post(f"{path}/weights", data=mine)
    assert answer.status_code == 409
    assert "not saved" in answer.text
    assert "the record now has 270 g, lot W1; you typed 271 g." in answer.text
    assert [field(answer.text, f"actual-{n}") for n in (first, third)] == ["271", "0.6"]
    again = {name: field(answer.text, name) for name in ("row_version", f"actual-{third}")} | {"who": "Tom"}
    assert demo_client.post(f"{path}/weights", data=again).status_code == 303
    page = demo_client.get(path).text
    assert "<strong>270.0 g</strong>" in page
    assert re.search(r"<strong>0\.60? g</strong>", page)


def test_weights_that_come_after_the_decision_are_shown_and_not_written(demo_client: FlaskClient) -> None:
    line = re.findall(r'name="actual-(\d+)"', demo_client.get("/batches/4").text)[0]
    version = field(demo_client.get("/batches/4").text, "row_version")
    decision = {"row_version": version, "who": "Tom", "state": "rejected", "why": "spilt"}
    assert demo_client.post("/batches/4/decide", data=decision).status_code == 303
    answer = demo_client.post("/batches/4/weights", data={"row_version": version, f"actual-{line}": "1.25"})
    assert answer.status_code == 409
    assert "is rejected" in answer.text
    assert "you typed 1.25 g" in answer.text
    assert ">1.25<" not in demo_client.get("/batches/4").text


def test_a_note_on_a_decided_batch_needs_a_name(demo_client: FlaskClient) -> None:
    answer = demo_client.post("/batches/1/note", data={"note": "Pot 3 leaks.", "who": " "})
    assert answer.status_code == 422
    assert 'id="note-who-fault"' in answer.text
    assert ">Pot 3 leaks.</textarea>" in answer.text
    assert demo_client.post("/batches/1/note", data={"note": "Pot 3 leaks.", "who": "Tom"}).status_code == 303


@pytest.mark.parametrize(
    ("path", "names"),
    [
        ("/batches/new", ("formula", "version", "size", "fill", "loss", "planned_on", "made_by", "key")),
        ("/batches/5/weights", ("row_version", "actual-35", "lot-35", "initials-35", "who", "why")),
        ("/batches/5/reading", ("kind", "words", "temperature", "who", "key")),
        ("/batches/5/yield", ("amount", "who", "sure")),
        ("/batches/5/note", ("note", "who", "key")),
        ("/batches/5/decide", ("row_version", "state", "who", "why")),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_nothing_that_can_be_typed_breaks_a_page(demo_client: FlaskClient, path: str, names: tuple[str, ...]) -> None:
    usual = {"formula": "1", "size": "300 g", "planned_on": "2026-11-30", "kind": "pH", "words": "5"}
    for bad in HOSTILE:
        for name in names:
            form = {key: value for key, value in usual.items() if key in names} | {name: bad}
            answer = demo_client.post(path, data=body(form), content_type="application/x-www-form-urlencoded")
            assert answer.status_code < 500, (name, bad[:20], answer.text[:400])
            assert "<script>alert" not in answer.text, (name, bad[:20])
    assert "<script>alert" not in demo_client.get("/batches/5").text


@pytest.mark.parametrize("bad", HOSTILE, ids=lambda text: repr(text[:20]))
def test_nothing_that_can_be_asked_breaks_the_list(demo_client: FlaskClient, bad: str) -> None:
    asked = bad[:50].encode("utf-8", "ignore").decode()
    answer = demo_client.get("/batches", query_string={"q": asked})
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text


def test_a_script_in_a_name_is_shown_as_text_on_every_page(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    demo_client.post(f"{path}/note", data={"note": "<script>alert(1)</script>", "who": "Tom", "key": "n"})
    for page in (path, f"{path}/sheet", "/batches", "/"):
        text = demo_client.get(page).text
        assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in demo_client.get(path).text


def test_the_list_asks_the_database_a_fixed_number_of_times(
    demo_client: FlaskClient, demo: Store, statements: CountStatements
) -> None:
    counts = []
    for _ in range(2):
        with statements(demo) as sent:
            assert demo_client.get("/batches").status_code == 200
        counts.append(len(sent))
        for _ in range(3):
            plan(demo_client)
    assert counts[0] == counts[1] <= 4


def test_the_page_of_a_batch_is_checked_once_as_planned_and_once_as_made(
    demo_client: FlaskClient, demo: Store, statements: CountStatements, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[object] = []
    check = as_made.check_formula
    monkeypatch.setattr(as_made, "check_formula", lambda *given: checked.append(given) or check(*given))
    with demo.reading() as session:
        begun = session.scalars(select(Batch).where(Batch.state == BatchState.IN_PROCESS)).first()
    with statements(demo) as sent:
        page = demo_client.get(f"/batches/{begun.id}")
    assert page.status_code == 200
    assert "It cannot be released" in page.text or "open" in page.text
    assert len(checked) == 2
    for table in ("value_correction", "finding_answer", "batch_deviation", "batch_weighing"):
        assert sum(f"FROM {table}" in one for one in sent) == 1, table


def test_the_first_page_shows_what_is_in_work_and_what_is_wanting(demo_client: FlaskClient) -> None:
    page = demo_client.get("/").text
    for words in ("Millrace Yard", "demonstration", "HR-2026-001", "Garden balm", "no price yet", "in process"):
        assert words in page


def test_release_pressed_twice_is_one_release(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    decision = {"row_version": field(page, "row_version"), "key": field(page.split('/decide"')[1], "key"), "who": "Tom"}
    decision |= {"state": "rejected", "why": "a training batch"}
    assert [demo_client.post(f"{path}/decide", data=decision).status_code for _ in range(2)] == [303, 303]
    assert demo_client.get(path).text.count("in process became") == 0
    assert demo_client.get(path).text.count("a training batch") == 1


def test_a_weight_that_looks_like_a_slip_is_asked_about_and_taken_when_confirmed(
    demo_client: FlaskClient,
) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    first = re.findall(r'name="actual-(\d+)"', page)[0]
    form = {"row_version": field(page, "row_version"), "who": "Ines", f"actual-{first}": "2700"}
    answer = demo_client.post(f"{path}/weights", data=form)
    assert answer.status_code == 422
    assert "times the planned" in answer.text
    assert f'name="sure-{first}" value="2700"' in answer.text
    assert demo_client.post(f"{path}/weights", data={**form, f"sure-{first}": "2700"}).status_code == 303


def test_a_weighing_is_corrected_on_a_page_of_its_own(demo_client: FlaskClient) -> None:
    page = demo_client.get("/batches/1").text
    link = re.findall(r'href="(/batches/1/weighings/\d+)"', page)[0]
    form = {"grams": "", "lot": "X1", "who": "Tom", "reason": ""}
    answer = demo_client.post(link, data=form)
    assert answer.status_code == 422
    assert 'id="reason-fault"' in answer.text
    assert field(answer.text, "lot") == "X1"
    assert demo_client.post(link, data={**form, "grams": "12 g", "reason": "wrong line"}).status_code == 303
    page = demo_client.get("/batches/1").text
    assert "lot X1" in page
    assert "wrong line" in page
    assert demo_client.get(link).status_code == 404


def test_what_comes_after_a_decision_keeps_what_was_typed(demo_client: FlaskClient) -> None:
    form = {"kind": "pH", "words": "5.4", "who": "Tom"}
    released = next(n for n in range(1, 6) if "state released" in demo_client.get(f"/batches/{n}").text)
    answer = demo_client.post(f"/batches/{released}/reading", data=form)
    assert answer.status_code == 409
    assert "released" in answer.text
    assert "5.4" in answer.text.split("You typed")[1]


def test_a_deviation_is_decided_on_at_its_place_and_what_is_missing_is_told(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    first = re.findall(r'name="actual-(\d+)"', page)[0]
    demo_client.post(f"{path}/weights", data={"row_version": "1", "who": "Ines", f"actual-{first}": "200"})
    page = demo_client.get(path).text
    assert "200 g weighed" in page
    key = re.findall(r'name="key" value="(weight [^"]+)"', page)[0]
    form = {"do": "decide", "key": key, "cause": "spilt", "who": "Tom", "form_key": "f"}
    answer = demo_client.post(f"{path}/deviation", data=form)
    assert answer.status_code == 422
    assert 'value="spilt"' in answer.text
    assert "Enter the effect." in answer.text
    form |= {"effect": "a richer gel", "action": "accepted, labelled as made"}
    assert [demo_client.post(f"{path}/deviation", data=form).status_code for _ in range(2)] == [303, 303]
    page = demo_client.get(path).text
    assert "accepted, labelled as made" in page
    assert "As made" in page


def test_the_same_is_decided_of_all_lines_without_a_lot_by_one_button(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    lines = re.findall(r'name="actual-(\d+)"', demo_client.get(path).text)[1:3]
    for line in lines:
        page = demo_client.get(path).text
        assert "lines without a lot" not in page
        version = re.findall(r'name="row_version" value="(\d+)"', page)[0]
        weights = {"row_version": version, "who": "Ines", f"actual-{line}": "2", f"sure-{line}": "2"}
        demo_client.post(f"{path}/weights", data=weights)
    page = demo_client.get(path).text
    assert page.count("Record for all 2 lines without a lot") == 2
    key = re.findall(r'name="key" value="(lot [^"]+)"', page)[0]
    said = {"cause": "no lots are kept", "effect": "none", "action": "accepted", "who": "Tom"}
    form = {"do": "decide", "key": key, "alike": "yes", "form_key": "f", **said}
    assert demo_client.post(f"{path}/deviation", data=form).status_code == 303
    page = demo_client.get(path).text
    assert page.count("<strong>Decided:</strong>") == 2
    assert "lines without a lot" not in page


def test_steps_are_ticked_with_time_and_person(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    ids = re.findall(r'name="tick" value="(\d+)"', demo_client.get(path).text)
    assert demo_client.post(f"{path}/ticks", data={"tick": ids[:2], "who": ""}).status_code == 422
    assert demo_client.post(f"{path}/ticks", data={"tick": ids[:2], "who": "IN"}).status_code == 303
    page = demo_client.get(path).text
    assert page.count('class="ticked"') == 2
    assert len(re.findall(r'name="tick" value="(\d+)"', page)) == len(ids) - 2


def test_people_are_listed_and_leave(demo_client: FlaskClient) -> None:
    form = {"name": "Ada Moor", "initials": "AM", "key": "k"}
    assert demo_client.post("/workshop/people", data=form).status_code == 303
    assert demo_client.post("/workshop/people", data={"name": "Ada Moor"}).status_code == 422
    page = demo_client.get("/workshop/people").text
    assert "Ada Moor" in page
    action = re.findall(r'action="(/workshop/people/\d+)"', page)[0]
    assert demo_client.post(action, data={"do": "left"}).status_code == 303
    assert "Works here again" in demo_client.get("/workshop/people").text
    assert demo_client.post("/workshop/people/999", data={"do": "left"}).status_code == 404


def test_a_batch_is_weighed_one_line_at_a_time_and_taken_up_again_anywhere(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    weights = []
    for turn in range(20):
        page = demo_client.get(f"{path}/weigh").text
        found = re.search(r'name="actual-(\d+)"', page)
        if not found:
            break
        line, grams = found[1], re.search(r'class="weigh-target figures">([\d.]+) g', page)[1]
        form = {name: field(page, name) for name in ("row_version", "line", "key")} | {"who": "Ines"}
        form |= {f"actual-{line}": f"{float(grams) + 20:g}", f"tare-{line}": "20", f"lot-{line}": f"L{turn}: a trial"}
        assert demo_client.post(f"{path}/weigh", data=form).status_code == 303
        assert demo_client.post(f"{path}/weigh", data=form).status_code == 303
        weights.append(grams)
    assert "Every line is weighed" in page
    record = demo_client.get(path).text
    assert all(f"<strong>{grams} g</strong>" in record for grams in weights)
    assert len(weights) == record.count('class="portion small"')
    assert demo_client.get(f"{path}/weigh?line=99999").status_code == 404


def test_the_bench_says_what_is_wrong_at_its_field_and_keeps_what_was_typed(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(f"{path}/weigh").text
    line = field(page, "line")
    form = {"row_version": field(page, "row_version"), "line": line, "who": "Ines", f"lot-{line}": "L7: a trial"}
    answer = demo_client.post(f"{path}/weigh", data={**form, f"actual-{line}": "10", f"tare-{line}": "20"})
    assert answer.status_code == 422
    assert "weighs more than the scale shows" in answer.text
    assert field(answer.text, f"lot-{line}") == "L7: a trial"
    stale = demo_client.post(f"{path}/weigh", data={**form, "row_version": "99", f"actual-{line}": "10"})
    assert stale.status_code == 409
    assert field(stale.text, f"lot-{line}") == "L7: a trial"


def test_what_was_poured_too_much_is_offered_a_rescue(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    first = re.findall(r'name="actual-(\d+)"', page)[0]
    demo_client.post(f"{path}/weights", data={"row_version": "1", "who": "Ines", f"actual-{first}": "350"})
    page = demo_client.get(path).text
    assert "Too much added" in page
    form = {"row_version": field(page, "row_version"), "who": "Ines", "key": "r"}
    assert demo_client.post(f"{path}/rescue", data=form).status_code == 303
    page = demo_client.get(path).text
    assert "every line raised" in page
    assert "Raise every line" not in page


def test_gear_is_checked_and_an_overdue_scale_asks_for_a_reason(demo_client: FlaskClient) -> None:
    path = plan(demo_client)
    page = demo_client.get(path).text
    first = re.findall(r'name="actual-(\d+)"', page)[0]
    form = {"gear": "Bench scale", "checked_on": "2025-01-01", "reference": "1 kg weight", "reading": "1000.4"}
    assert demo_client.post("/workshop/gear", data=form).status_code == 422
    form |= {"passed": "yes", "next_due": "2025-02-01", "who": "Ines"}
    assert demo_client.post("/workshop/gear", data=form).status_code == 303
    assert "<strong>due</strong>" in demo_client.get("/workshop/gear").text
    weights = {"row_version": "1", "who": "Ines", f"actual-{first}": "280"}
    answer = demo_client.post(f"{path}/weights", data=weights)
    assert answer.status_code == 422
    assert 'name="gear_reason"' in answer.text
    assert demo_client.post(f"{path}/weights", data={**weights, "gear_reason": "lent out"}).status_code == 303


def test_a_pot_is_weighed_before_and_after_heating_and_its_water_is_put_back(demo_client: FlaskClient) -> None:
    added = {"name": "Pot 1 l", "tare": "0.8 kg", "holds": "1000", "key": "v"}
    assert demo_client.post("/workshop/vessels", data=added).status_code == 303
    path = plan(demo_client)
    page = demo_client.get(path).text
    assert "Pot 1 l, 800 g empty" in page
    begun = {"vessel": "Pot 1 l", "phase": "A", "scale": "Bench scale", "who": "Ines"}
    wrong = demo_client.post(f"{path}/heating", data={**begun, "grams": "700"})
    assert wrong.status_code == 422
    assert re.search(r'id="pot-grams" value="700"[^>]*aria-invalid', wrong.text)
    assert demo_client.post(f"{path}/heating", data={**begun, "grams": "1.1 kg"}).status_code == 303
    row = re.search(r'/heating/(\d+)/after"', demo_client.get(path).text)
    assert row
    after = f"{path}/heating/{row[1]}"
    wrong = demo_client.post(f"{after}/after", data={"grams": "1200", "who": "Ines", "heating": row[1]})
    assert 'href="#after-grams"' in wrong.text
    assert 'id="after-grams" value="1200"' in wrong.text
    assert demo_client.post(f"{after}/after", data={"grams": "1088.5", "who": "Ines"}).status_code == 303
    assert "Put back 11.5 g of Water, purified." in demo_client.get(path).text
    back = {"grams": "11.5", "lot": "W7: a trial", "who": "Ines", "heating": row[1]}
    assert demo_client.post(f"{after}/water", data=back).status_code == 303
    page = demo_client.get(path).text
    assert "11.5 g of Water, purified put back" in page
    assert "usually loses about 11.5 g (one batch so far)" in page
    assert "about 11.5 g (one batch so far)" in demo_client.get("/workshop/vessels").text
    for part in ("Water lost while heating", "Pot 1 l", "1088.5", "11.5"):
        assert part in demo_client.get(f"{path}/record").text
    fixed = {"before": "1100", "after": "1088", "who": "Tom", "reason": "", "heating": row[1]}
    assert 'href="#fix-reason"' in demo_client.post(f"{after}/correct", data=fixed).text
    assert demo_client.post(f"{after}/correct", data={**fixed, "reason": "misread"}).status_code == 303
    assert "Put back 0.5 g of Water, purified." in demo_client.get(path).text
    assert demo_client.post(f"{after}/after", data={"grams": "1", "who": "Ines"}).status_code == 404


def test_a_planned_batch_is_changed_and_a_line_of_it_swapped(demo_client: FlaskClient) -> None:
    choices = demo_client.get("/batches/new?formula=2").text
    assert '<option value="2" selected>' in choices
    path = plan(demo_client, formula="2", size="20 units", product="2")
    page = demo_client.get(path).text
    assert "60 g, 20 units" in page
    assert f'href="{path}/plan"' in page
    form = demo_client.get(f"{path}/plan").text
    sent = {
        "row_version": field(form, "row_version"),
        "product": "2",
        "size": "abc",
        "fill": "",
        "loss": "4",
        "planned_on": "2026-12-01",
        "made_by": "Tom",
        "number": field(form, "number"),
        "who": "Tom",
    }
    wrong = demo_client.post(f"{path}/plan", data=sent)
    assert wrong.status_code == 422
    assert re.search(r'id="size" value="abc"[^>]*aria-invalid', wrong.text)
    assert 'id="loss" value="4"' in wrong.text
    assert demo_client.post(f"{path}/plan", data={**sent, "size": "30 units"}).status_code == 303
    page = demo_client.get(path).text
    assert "60 g, 30 units" in page
    assert "plan changed" in page
    late = demo_client.post(f"{path}/plan", data={**sent, "size": "10 units"})
    assert late.status_code == 409
    assert 'value="10 units"' in late.text
    swap = re.search(r'href="([^"]+/swap)"', page)
    assert swap
    assert 'href="#why"' in demo_client.post(swap[1], data={"material": "3", "who": "Tom", "why": ""}).text
    assert demo_client.post(swap[1], data={"material": "3", "who": "Tom", "why": "none left"}).status_code == 303
    page = demo_client.get(path).text
    assert "was taken in its place" in page
    assert "in the place of" in demo_client.get(f"{path}/record").text


def test_both_ends_of_the_band_of_a_weight_have_the_decimals_of_its_scale(demo_client: FlaskClient) -> None:
    """The demonstration's first line is weighed to 0.1 g, the others to 0.01 g."""
    ends = re.findall(r'band">([\d.]+) to ([\d.]+)<', demo_client.get("/batches/5").text)
    assert [{len(end.partition(".")[2]) for end in both} for both in ends] == [{1}, *[{2}] * 11]
