"""The pages of labels: sheets, designs, preview, proof, the gate of a sale, small labels and scanned codes."""

import html
import re

import pytest
from flask.testing import FlaskClient
from sqlalchemy import delete, select

from app.store.engine import Store
from app.store.labels import LabelDesign, LabelSheet
from app.store.materials import MaterialRow
from app.work.materials.material_form import MaterialForm
from app.work.materials.shelf import revise_material

SHEET = "A4, 8 labels of 99.1 x 67.7 mm"
LABEL = {
    "name": "Whole label", "identity": "yes", "content": "yes", "ingredients": "yes", "responsible": "yes",
    "keeping": "yes", "batch": "yes", "warnings": "yes", "directions": "Massage in.",
}  # fmt: skip


@pytest.fixture
def sheet(demo_client: FlaskClient) -> str:
    assert demo_client.post("/label-sheets/common", data={"common": SHEET}).status_code == 303
    page = demo_client.get("/label-sheets").text
    assert SHEET in page
    return re.search(r"/label-sheets/(\d+)/calibration\.pdf", page)[1]


@pytest.fixture
def labelled(demo_client: FlaskClient, sheet: str) -> FlaskClient:
    answer = demo_client.post("/products/5/labels", data={**LABEL, "sheet": sheet, "key": "k"})
    assert answer.status_code == 303
    return demo_client


def test_a_sheet_is_added_checked_and_changed(demo_client: FlaskClient, sheet: str) -> None:
    form = demo_client.get(f"/label-sheets/{sheet}").text
    assert 'value="67.7 mm"' in form
    typed = dict(re.findall(r'name="([^"]+)"[^>]* value="([^"]*)"', form))
    typed.pop("is_round")  # a box that is not ticked is not sent
    wrong = demo_client.post("/label-sheets", data={**typed, "name": "Too wide", "left": "30 mm", "key": "a"})
    assert wrong.status_code == 422
    assert "outside the page" in wrong.text
    assert 'value="30 mm"' in wrong.text
    good = demo_client.post(f"/label-sheets/{sheet}", data={**typed, "shift_x": "0.8 mm", "shift_y": "-0.4 mm"})
    assert good.status_code == 303
    assert "0.8, -0.4" in demo_client.get("/label-sheets").text


def test_a_common_sheet_that_is_none_is_told(demo_client: FlaskClient) -> None:
    page = demo_client.post("/label-sheets/common", data={"common": "A0"}, follow_redirects=True)
    assert "Choose a sheet of the list" in page.text


def test_a_label_is_drawn_on_its_page_with_what_stands_in_the_way(labelled: FlaskClient) -> None:
    page = labelled.get("/products/5/labels").text
    assert "<svg" in page
    assert "not for sale" in page
    assert "No batch is chosen" in page
    assert "Print for sale" not in page


def test_a_label_is_changed_by_two_and_taken_off(labelled: FlaskClient) -> None:
    design = re.search(r'href="/labels/(\d+)"', labelled.get("/products/5/labels").text)[1]
    form = labelled.get(f"/labels/{design}").text
    seen = form.split('name="seen" value="')[1].split('"')[0]
    sheet = re.search(r'<option value="(\d+)" selected', form)[1]
    data = {**LABEL, "sheet": sheet, "seen": seen}
    assert labelled.post(f"/labels/{design}", data={**data, "cautions": "Keep out of eyes."}).status_code == 303
    assert "Keep out of eyes." in labelled.get("/products/5/labels").text
    late = labelled.post(f"/labels/{design}", data={**data, "cautions": "Other"})
    assert late.status_code == 409
    slip = labelled.post(f"/labels/{design}", data={"name": "", "sheet": "", "seen": seen, "directions": "kept"})
    assert slip.status_code == 422
    assert "kept" in slip.text
    assert labelled.post(f"/labels/{design}/remove").status_code == 303
    assert "No label yet" in labelled.get("/products/5/labels").text


@pytest.mark.paper
def test_a_proof_prints_at_any_time_and_a_sale_does_not(labelled: FlaskClient) -> None:
    design = re.search(r'href="/labels/(\d+)"', labelled.get("/products/5/labels").text)[1]
    proof = labelled.get(f"/labels/{design}.pdf?count=3&start=7")
    assert proof.mimetype == "application/pdf"
    refused = labelled.get(f"/labels/{design}.pdf?count=3&sale=1")
    assert refused.status_code == 409
    assert "cannot be printed for sale yet" in refused.text


def test_without_a_sheet_the_form_says_where_to_add_one(demo: Store, demo_client: FlaskClient) -> None:
    with demo.transaction() as session:
        session.execute(delete(LabelDesign))
        session.execute(delete(LabelSheet))
    assert "add the label sheet" in demo_client.get("/products/5/labels/new").text
    slip = demo_client.post("/products/5/labels", data={**LABEL, "sheet": "77"})
    assert slip.status_code == 422


def test_a_scanned_code_opens_its_batch_or_says_that_there_is_none(demo_client: FlaskClient) -> None:
    number = re.search(r'href="/batches/(\d+)"[^>]*>([^<]+)<', demo_client.get("/batches").text)
    for code in (number[2].strip(), f"http://127.0.0.1:8520/scan?code={number[2].strip()}"):
        answer = demo_client.get("/scan", query_string={"code": code})
        assert answer.status_code == 303
        assert answer.location == f"/batches/{number[1]}"
    assert demo_client.get("/scan?code=nothing").status_code == 404
    assert demo_client.get("/scan").status_code == 200


@pytest.mark.paper
def test_the_cream_of_the_demonstration_waits_for_the_allergen_sheet_of_its_lavender_oil(
    demo: Store, demo_client: FlaskClient
) -> None:
    def said() -> str:
        return " ".join(html.unescape(demo_client.get("/labels/1.pdf?sale=1").text).split())

    refusal = "Lavandula Angustifolia Oil: no allergen sheet for this essential oil."
    assert refusal in said()
    with demo.reading() as session:
        oil = session.scalars(select(MaterialRow).where(MaterialRow.name == "Lavender oil")).one()
        typed = MaterialForm.of(oil)
    parts = tuple(part.but(allergens="Linalool 35\nLimonene 0.5") for part in typed.text["parts"] if not part.blank)
    revise_material(demo, oil.id, typed.but(parts=parts), oil.row_version)
    assert refusal not in said()


@pytest.mark.paper
def test_a_batch_has_its_small_label(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/batches/1/label.pdf")
    assert answer.mimetype == "application/pdf"
    assert demo_client.get("/batches/99/label.pdf").status_code == 404
    assert demo_client.get("/stock/lots/99/label.pdf").status_code == 404


def test_the_calibration_page_of_a_sheet_that_is_none_is_not_found(demo_client: FlaskClient) -> None:
    assert demo_client.get("/label-sheets/99/calibration.pdf").status_code == 404


def test_a_round_jar_is_labelled_in_one_go_and_a_slip_is_kept(demo_client: FlaskClient) -> None:
    typed = {"diameter": "60 mm", "height": "40 mm", "overlap": "4 mm", "base": "50 mm", "paper": "A4", "key": "j"}
    slip = demo_client.post("/products/5/labels/round", data={**typed, "base": "90 mm"})
    assert slip.status_code == 422
    assert 'value="90 mm"' in slip.text
    assert demo_client.post("/products/5/labels/round", data=typed).status_code == 303
    page = demo_client.get("/products/5/labels").text
    assert "wrap round 60 mm" in page
    assert page.count('<svg class="label-picture"') == 2


@pytest.mark.paper
def test_a_stock_solution_has_a_small_label_that_opens_it(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/materials/8/label.pdf?made_on=2026-11-20&by=Ines&use_by=2027-01-01")
    assert answer.mimetype == "application/pdf"
    slip = demo_client.get("/materials/8/label.pdf?made_on=soon&by=Ines")
    assert slip.status_code == 422
    assert 'value="soon"' in slip.text
    assert demo_client.get("/scan?code=MATERIAL-8").location == "/materials/8"
    assert demo_client.get("/scan?code=MATERIAL-999").status_code == 404
    assert demo_client.get("/scan?code=SAMPLE-7").status_code == 404
    assert demo_client.get("/packing/samples/7/label.pdf").status_code == 404
