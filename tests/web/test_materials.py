import itertools
import re
from collections.abc import Iterator
from html import unescape

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select
from werkzeug.test import TestResponse

from app.reference.materials import library_materials
from app.store.engine import Store
from app.store.formulas import DraftMaterial, FormulaRow
from app.store.materials import MaterialRow
from app.work.clock import now
from app.work.materials import shelf
from app.work.materials.material_form import MaterialForm, PartForm, from_library
from app.work.materials.prices import PriceForm, add_price

SCRIPT = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>"
GLYCERIN = {"name": "Glycerin", "phase_hint": "any", "part-0-inci": "Glycerin", "part-0-percent": "100"}
BLEND = MaterialForm("Blend", density="1.02", parts=(PartForm("Aqua", "60-80", "7732-18-5"), PartForm("Mel", "20")))


def text_of(answer: TestResponse) -> str:
    return unescape(answer.get_data(as_text=True))


def value_of(answer: TestResponse, name: str) -> str:
    tag = re.search(rf'<input[^>]* name="{name}"[^>]*>', answer.get_data(as_text=True))
    assert tag, name
    value = re.search(r' value="([^"]*)"', tag[0])
    return unescape(value[1]) if value else ""


@pytest.fixture
def blend(store: Store) -> int:
    return shelf.add_material(store, BLEND)


def test_an_empty_shelf_points_to_the_library(client: FlaskClient) -> None:
    page = text_of(client.get("/materials"))
    assert "The shelf is empty" in page
    assert f"{len(library_materials())} materials are there" in page


def test_a_search_shows_the_shelf_and_the_library(client: FlaskClient, blend: int) -> None:
    page = text_of(client.get("/materials?q=hony"))
    assert "1 on your shelf" in page
    assert "spelled a little differently" in page
    page = text_of(client.get("/materials?q=honey"))
    assert "In the library" in page
    assert "Put on the shelf" in page
    assert f'href="/materials/{blend}"' in text_of(client.get("/materials?q=mel"))


def test_the_results_alone_come_without_the_page(client: FlaskClient) -> None:
    answer = client.get("/materials/results?q=glyserin")
    assert "<html" not in text_of(answer)
    assert "spelled a little differently" in text_of(answer)


def test_filters_are_chips_that_can_be_taken_off(client: FlaskClient) -> None:
    page = text_of(client.get("/materials?q=gly&function=humectant&phase=water&state=all"))
    chips = re.findall(r'<li><a href="([^"]*)">([^<]*)<span aria-hidden', page)
    assert [words.strip() for _, words in chips] == ["function: humectant", "phase: water", "retired too"]
    assert chips[0][0] == "/materials?q=gly&phase=water&state=all"


def test_a_library_row_comes_to_the_shelf_once(client: FlaskClient, store: Store) -> None:
    first = client.post("/materials/shelf/glycerin", data={"key": "k"})
    assert (first.status_code, first.location) == (303, "/materials/1")
    assert client.post("/materials/shelf/glycerin", data={"key": "other"}).location == "/materials/1"
    page = text_of(client.get("/materials/1"))
    assert "common practice" in page
    assert "verified" in page
    assert client.post("/materials/shelf/nothing").status_code == 404


def test_a_library_row_whose_name_is_taken_is_offered_for_renaming(client: FlaskClient, store: Store) -> None:
    name = next(m.name for m in library_materials() if m.key == "glycerin")
    shelf.add_material(store, MaterialForm(name, parts=(PartForm("Aqua"),)))
    answer = client.post("/materials/shelf/glycerin")
    assert answer.status_code == 422
    assert "already a material named" in text_of(answer)
    assert value_of(answer, "library_key") == "glycerin"


def test_the_page_of_a_material_shows_everything(client: FlaskClient, store: Store, blend: int) -> None:
    add_price(store, blend, PriceForm("12.40", "8 oz", "2026-03-05", "Quay"))
    with store.transaction() as session:
        session.add(FormulaRow(id=1, code="HC1", name="Hand cream", created_at=now(), changed_at=now()))
        session.flush()
        session.add(DraftMaterial(formula_id=1, material_id=blend))
    page = text_of(client.get(f"/materials/{blend}"))
    for words in (
        "60 to 80",
        "1.02 g/mL",
        "€12.40",
        "8 oz",
        "€54.67",
        "Quay",
        "HC1 Hand cream",
        "10 % of this material",
        "entered here",
    ):
        assert words in page, words
    assert "None" not in page
    assert "Delete…" not in page


def test_a_caution_stands_at_the_top_of_its_material(client: FlaskClient) -> None:
    client.post("/materials/shelf/sodium-hydroxide")
    page = text_of(client.get("/materials/1"))
    assert page.index('class="care"') < page.index("What is in it")
    assert "never water onto the alkali" in page


def test_a_new_material_is_made_once_however_often_the_button_is_pressed(client: FlaskClient, store: Store) -> None:
    answers = [client.post("/materials/new", data={**GLYCERIN, "key": "one"}) for _ in range(2)]
    assert [(a.status_code, a.location) for a in answers] == [(303, "/materials/1")] * 2
    with store.reading() as session:
        assert session.scalar(select(func.count(MaterialRow.id))) == 1


def test_faults_stand_at_their_fields_and_in_the_summary_and_nothing_typed_is_lost(client: FlaskClient) -> None:
    answer = client.post(
        "/materials/new",
        data={
            **GLYCERIN,
            "key": "mine",
            "name": "",
            "density": "1,0,5",
            "notes": "keep me",
            "part-0-percent": "101",
            "part-0-nano": "yes",
        },
    )
    page = text_of(answer)
    assert answer.status_code == 422
    assert "<title>Error: New material" in page
    for field in ("name", "density", "part-0-percent"):
        assert f'<a href="#{field}">' in page
        assert f'id="{field}-fault"' in page
        assert re.search(rf'id="{field}"[^>]*aria-invalid="true"[^>]*aria-describedby="[^"]*{field}-fault', page)
    assert value_of(answer, "density") == "1,0,5"
    assert value_of(answer, "part-0-percent") == "101"
    assert value_of(answer, "key") == "mine"
    assert "checked> nano" in page
    assert "keep me</textarea>" in page


@pytest.mark.parametrize(
    ("button", "expected"),
    [
        ("sum", ["60", "10-20"]),
        ("more", ["60", "10-20", "", "", ""]),
        ("drop-0", ["10-20"]),
        ("drop-99", ["60", "10-20"]),
        ("water", ["60", "10-20", "25"]),
        ("fit", ["60", "10-20"]),
        ("paste", ["60", "10-20", "5-6"]),
        ("\x00", ["60", "10-20"]),
    ],
)
def test_the_buttons_of_the_composition_work_without_script_and_write_nothing(
    client: FlaskClient, store: Store, button: str, expected: list[str]
) -> None:
    rows = {"part-0-inci": "Mel", "part-0-percent": "60", "part-7-inci": "Glycerin", "part-7-percent": "10-20"}
    answer = client.post("/materials/new", data={"name": "x", "action": button, "pasted": "Cera Alba 5-6", **rows})
    assert answer.status_code == 200
    page = answer.get_data(as_text=True).split("<template")[0]
    assert re.findall(r'name="part-\d+-percent" value="([^"]*)"', page) == expected
    with store.reading() as session:
        assert session.scalar(select(func.count(MaterialRow.id))) == 0


def test_the_sum_is_told_as_it_is_typed(client: FlaskClient) -> None:
    told = client.post(
        "/materials/composition",
        data={
            "part-0-inci": "Mel",
            "part-0-percent": "30-50",
            "part-3-inci": "Aqua",
            "part-3-percent": "55",
            "part-3-cas": "7732-18-6",
        },
    ).json
    assert told is not None
    assert told["counted"] == ["40", "55"]
    assert "Adds up to 95 %; 5 % is missing." in told["html"]
    assert told["remarks"][0] == ""
    assert "check digit" in told["remarks"][1]


def test_inci_names_are_suggested_with_their_cas_number(client: FlaskClient) -> None:
    names = client.get("/materials/inci?q=glycerin").json
    assert names is not None
    assert {"name": "Glycerin", "cas": "56-81-5"} in names


def test_an_edit_is_saved_and_shown(client: FlaskClient, blend: int) -> None:
    form = client.get(f"/materials/{blend}/edit")
    assert value_of(form, "part-0-percent") == "60-80"
    data = {**GLYCERIN, "name": "Renamed", "row_version": value_of(form, "row_version")}
    assert client.post(f"/materials/{blend}/edit", data=data).location == f"/materials/{blend}"
    assert "Renamed" in text_of(client.get(f"/materials/{blend}"))


def test_a_stale_edit_is_told_with_both_texts_and_can_still_be_saved(
    client: FlaskClient, store: Store, blend: int
) -> None:
    seen = value_of(client.get(f"/materials/{blend}/edit"), "row_version")
    theirs = {**GLYCERIN, "name": "Theirs", "row_version": seen}
    assert client.post(f"/materials/{blend}/edit", data=theirs).status_code == 303
    mine = {**GLYCERIN, "name": "Mine", "notes": "my note", "row_version": seen}
    answer = client.post(f"/materials/{blend}/edit", data=mine)
    page = text_of(answer)
    assert answer.status_code == 409
    assert "Theirs" in page
    assert value_of(answer, "name") == "Mine"
    assert "my note</textarea>" in page
    assert shelf.load_material(store, blend).name == "Theirs"
    again = client.post(f"/materials/{blend}/edit", data={**mine, "row_version": value_of(answer, "row_version")})
    assert again.status_code == 303
    assert shelf.load_material(store, blend).name == "Mine"


def test_a_save_that_is_there_already_is_no_conflict(client: FlaskClient, store: Store, blend: int) -> None:
    data = {**GLYCERIN, "row_version": "1"}
    assert [client.post(f"/materials/{blend}/edit", data=data).status_code for _ in range(2)] == [303, 303]
    assert shelf.load_material(store, blend).row_version == 2


def test_a_copy_is_only_a_form_until_it_is_saved(client: FlaskClient, store: Store, blend: int) -> None:
    form = client.get(f"/materials/new?copy={blend}")
    assert value_of(form, "name") == "Blend (copy)"
    assert value_of(form, "part-0-percent") == "60-80"
    with store.reading() as session:
        assert session.scalar(select(func.count(MaterialRow.id))) == 1


def test_retiring_and_bringing_back(client: FlaskClient, store: Store, blend: int) -> None:
    client.post(f"/materials/{blend}/retire")
    assert "Bring back" in text_of(client.get(f"/materials/{blend}"))
    other = shelf.add_material(store, BLEND)
    assert client.post(f"/materials/{blend}/bring-back").status_code == 409
    shelf.retire(store, other)
    assert client.post(f"/materials/{blend}/bring-back").status_code == 303


def test_deleting_says_what_goes_and_is_refused_for_what_is_used(client: FlaskClient, store: Store, blend: int) -> None:
    add_price(store, blend, PriceForm("12.40", "8 oz"))
    assert "2 rows and 1 price" in text_of(client.get(f"/materials/{blend}/delete"))
    with store.transaction() as session:
        session.add(FormulaRow(id=1, code="HC1", name="Hand cream", created_at=now(), changed_at=now()))
        session.flush()
        session.add(DraftMaterial(formula_id=1, material_id=blend))
    refused = client.post(f"/materials/{blend}/delete")
    assert refused.status_code == 409
    assert "HC1 Hand cream" in text_of(refused)
    with store.transaction() as session:
        session.delete(session.get_one(DraftMaterial, (1, blend)))
    assert client.post(f"/materials/{blend}/delete").status_code == 303
    assert client.get(f"/materials/{blend}").status_code == 404


def test_a_price_is_noted_edited_and_removed(client: FlaskClient, blend: int) -> None:
    data = {"amount": "12.40", "quantity": "8 oz", "kind": "paid", "key": "p"}
    assert [client.post(f"/materials/{blend}/prices", data=data).status_code for _ in range(2)] == [303, 303]
    form = client.get(f"/materials/{blend}/prices/1")
    seen = value_of(form, "seen")
    assert client.post(f"/materials/{blend}/prices/1", data={**data, "amount": "10", "seen": seen}).status_code == 303
    stale = client.post(f"/materials/{blend}/prices/1", data={**data, "amount": "11", "seen": seen})
    assert stale.status_code == 409
    assert value_of(stale, "amount") == "11"
    assert "Somebody else saved this price" in text_of(stale)
    assert "Remove this price?" in text_of(client.get(f"/materials/{blend}/prices/1/remove"))
    assert client.post(f"/materials/{blend}/prices/1/remove").status_code == 303
    assert client.get(f"/materials/{blend}/prices/1").status_code == 404


def test_a_volume_without_a_density_is_told_at_the_field(client: FlaskClient) -> None:
    client.post("/materials/new", data=GLYCERIN)
    answer = client.post("/materials/1/prices", data={"amount": "12.40", "quantity": "500 mL", "kind": "paid"})
    page = text_of(answer)
    assert answer.status_code == 422
    assert 'id="quantity-fault"' in page
    assert "enter the density" in page
    assert value_of(answer, "quantity") == "500 mL"


def test_files_go_out_and_come_in_through_a_preview(client: FlaskClient, store: Store, blend: int) -> None:
    out = client.get("/materials/materials.csv")
    assert out.headers["Content-Disposition"].startswith('attachment; filename="materials-')
    text = out.get_data(as_text=True)
    assert text.startswith("\ufeffname,form,")
    from io import BytesIO

    sent = {
        "what": "materials",
        "encoding": "utf-8",
        "file": (BytesIO(text.replace("Blend", "Second").encode()), "m.csv"),
    }
    preview = client.post("/materials/transfer", data=sent, content_type="multipart/form-data")
    assert "What importing this file would do" in text_of(preview)
    assert "Second" in text_of(preview)
    kept = re.search(r'<textarea name="text" hidden[^>]*>\n(.*?)</textarea>', preview.get_data(as_text=True), re.DOTALL)
    assert kept
    taken = {"what": "materials", "text": unescape(kept[1]), "key": "t"}
    assert [client.post("/materials/transfer/take", data=taken).status_code for _ in range(2)] == [303, 303]
    with store.reading() as session:
        assert sorted(session.scalars(select(MaterialRow.name))) == ["Blend", "Second"]
    assert client.get("/materials/prices.csv").status_code == 200


def test_a_file_with_faults_is_reported_by_line_and_kept_in_the_form(client: FlaskClient) -> None:
    answer = client.post("/materials/transfer", data={"what": "materials", "text": "name,inci,percent\nA,Aqua,101\n"})
    assert answer.status_code == 422
    assert "Line 2:" in text_of(answer)
    assert "A,Aqua,101" in text_of(answer)
    nothing = client.post("/materials/transfer/take", data={"what": "prices", "text": "nonsense"})
    assert nothing.status_code == 422


HOSTILE = [
    SCRIPT, "=cmd|' /C calc'!A0", "NaN", "1e400", "-1", "", " ", "x" * 60_000, "\x00", "\ud800", "1.234,5", "٣",
    "\u202e", "🧴", "{{ 7*7 }}", "../../etc/passwd", "' OR 1=1 --", "\r\nX: y", "-0", "9" * 400,
]  # fmt: skip
FIELDS = [
    "name", "form", "phase_hint", "functions", "density", "use_low", "use_high", "ph_min", "ph_max", "max_temp",
    "cautions", "notes", "source", "supplier", "library_key", "row_version", "key", "part-0-inci", "part-0-percent",
    "part-0-cas", "part-0-kind", "part-0-allergens", "part-0-source",
]  # fmt: skip


def posted(fields: dict[str, str]) -> bytes:
    from urllib.parse import urlencode

    return urlencode({k: v.encode("utf-8", "surrogatepass") for k, v in fields.items()}).encode()


@pytest.fixture
def hostile_answers(client: FlaskClient, store: Store, blend: int) -> Iterator[TestResponse]:
    """Every field meets every text: each alone with a script and with a sign no text may hold, then all at once."""
    alone = [{field: text} for text in (SCRIPT, "\x00", "\ud800") for field in FIELDS]
    turned = [HOSTILE[turn:] + HOSTILE[:turn] for turn in range(len(HOSTILE))]
    together = [dict(zip(FIELDS, itertools.cycle(texts), strict=False)) for texts in turned]
    return (
        client.post(
            f"/materials/{path}",
            data=posted({**GLYCERIN, "row_version": "1", **fields}),
            content_type="application/x-www-form-urlencoded",
        )
        for fields in (*alone, *together)
        for path in ("new", f"{blend}/edit")
    )


def test_no_hostile_text_breaks_a_page_or_runs_in_it(
    client: FlaskClient, hostile_answers: Iterator[TestResponse]
) -> None:
    for answer in hostile_answers:
        assert answer.status_code in (303, 409, 422)
        assert "<script>alert" not in answer.get_data(as_text=True)
    listed = client.get("/materials?state=all").get_data(as_text=True)
    assert "<script>alert" not in listed
    assert "onerror=alert(1)>" not in listed.replace("onerror=alert(1)&gt;", "")


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_no_hostile_price_or_query_breaks_a_page(client: FlaskClient, blend: int, text: str) -> None:
    for field in ("amount", "quantity", "priced_on", "supplier", "kind", "note", "key"):
        data = posted({"amount": "1", "quantity": "1 kg", "kind": "paid", field: text})
        answer = client.post(f"/materials/{blend}/prices", data=data, content_type="application/x-www-form-urlencoded")
        assert answer.status_code in (303, 422)
    query = {
        name: text.encode("utf-8", "surrogatepass")
        for name in ("q", "function", "phase", "state", "page", "copy", "library")
    }
    assert client.get("/materials", query_string=query).status_code == 200
    assert client.get("/materials/inci", query_string=query).status_code == 200
    assert client.get("/materials/new", query_string={"copy": query["copy"]}).status_code in (200, 404)
    assert "<script>alert" not in client.get(f"/materials/{blend}").get_data(as_text=True)


def test_a_script_in_a_name_is_shown_as_text(client: FlaskClient) -> None:
    client.post(
        "/materials/new", data={**GLYCERIN, "name": SCRIPT, "part-0-inci": SCRIPT, "notes": SCRIPT, "cautions": SCRIPT}
    )
    for path in (
        "/materials",
        "/materials/1",
        "/materials/1/edit",
        "/materials/1/delete",
        "/materials/results?q=alert",
    ):
        page = client.get(path).get_data(as_text=True)
        assert "&lt;script&gt;alert" in page
        assert "<script>alert" not in page


def test_a_list_page_sends_the_same_few_statements_however_long_it_is(
    client: FlaskClient, store: Store, statements
) -> None:  # type: ignore[no-untyped-def]
    values = [from_library(one).checked() for one in library_materials()[:60]]
    counts = []
    for batch in (values[:2], values[2:]):
        with store.transaction() as session:
            for one in batch:
                shelf.insert_material(session, one)
        client.get("/materials")
        with statements() as sent:
            client.get("/materials")
        counts.append(len(sent))
    assert counts[0] == counts[1] <= 8
    with statements() as sent:
        client.get("/materials/1")
    assert len(sent) <= 14
