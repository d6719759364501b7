"""Papers as pages and as PDFs: the same numbers, readable back, on both sizes, from our own files only."""

import io
import re
from decimal import Decimal
from functools import partial

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.documents import render
from app.store.engine import Store
from app.work.paper_formula import PaperRequest, batch_sheet_of

KINDS = ("batch-sheet", "cost-sheet", "declaration")


def pdf(client: FlaskClient, path: str) -> PdfReader:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text[:500]
    assert answer.headers["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.data))


def words(reader: PdfReader) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("formula", range(1, 9))
def test_every_paper_of_every_product_is_a_page(demo_client: FlaskClient, formula: int, kind: str) -> None:
    answer = demo_client.get(f"/formulas/{formula}/{kind}")
    assert answer.status_code == 200
    assert "<p>Millrace Yard" in answer.text.split('<div class="paper">')[1]


@pytest.mark.paper
def test_a_batch_sheet_is_read_back_with_the_numbers_that_were_worked_out(
    demo_client: FlaskClient, demo: Store
) -> None:
    with demo.reading() as session:
        sheet = batch_sheet_of(session, PaperRequest(2, size="40 units"))
    reader = pdf(demo_client, "/formulas/2/batch-sheet.pdf?size=40+units")
    text = words(reader)
    for line in sheet.lines:
        assert f"{line.weigh_g:.{line.scale.places}f} g" in text
        assert not line.weigh_g % line.scale.readability_g
    assert sum(line.weigh_g for line in sheet.lines) == sheet.weighed_g
    assert f"{sheet.weighed_g.normalize():f} g" in text
    for heading in ("Oat and shea hand cream", "Cool down", "75 °C", "Caution.", "Target pH", "Actual, g", "Lot"):
        assert heading in text
    assert "page 1 of" in text


@pytest.mark.paper
@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_both_papers_are_laid_out_tagged_with_embedded_fonts(
    demo_client: FlaskClient, paper: str, size: tuple[int, int]
) -> None:
    reader = pdf(demo_client, f"/formulas/1/batch-sheet.pdf?paper={paper}")
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]  # type: ignore[index]
    assert root["/Lang"] == "en"  # type: ignore[index]
    assert reader.metadata
    assert "Workbench hand gel" in str(reader.metadata.title)
    for page in reader.pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == size
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            below = font.get_object().get("/DescendantFonts", [font])[0].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(below["/FontDescriptor"])


@pytest.mark.paper
def test_nothing_is_drawn_outside_the_page(demo_client: FlaskClient) -> None:
    reader = pdf(demo_client, "/formulas/7/declaration.pdf")
    outside = []
    for page in reader.pages:
        right, top = float(page.mediabox.width), float(page.mediabox.height)

        def look(words: str, cm: list[float], tm: list[float], *_rest: object, edge: tuple[float, float]) -> None:
            x, y = cm[0] * tm[4] + cm[2] * tm[5] + cm[4], cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            if words.strip() and not (0 <= x <= edge[0] and 0 <= y <= edge[1]):
                outside.append((words, x, y))

        page.extract_text(visitor_text=partial(look, edge=(right, top)))
    assert outside == []


@pytest.mark.paper
def test_the_same_sheet_printed_twice_says_the_same(demo_client: FlaskClient) -> None:
    first, second = (words(pdf(demo_client, "/formulas/3/cost-sheet.pdf")) for _ in range(2))
    assert first == second


@pytest.mark.paper
def test_the_sheet_of_a_batch_carries_its_number_and_its_planned_weights(demo_client: FlaskClient) -> None:
    text = words(pdf(demo_client, "/batches/2/sheet.pdf"))
    assert "Batch HC-2026-001" in text
    assert "Ines" in text


@pytest.mark.paper
def test_a_version_is_printed_as_it_was_kept(demo_client: FlaskClient) -> None:
    assert "version 1" in words(pdf(demo_client, "/formulas/1/batch-sheet.pdf?version=1"))
    assert demo_client.get("/formulas/2/batch-sheet?version=1").status_code == 404


@pytest.mark.paper
def test_markup_in_what_is_typed_is_printed_as_text_and_loads_nothing(demo_client: FlaskClient) -> None:
    note = '<img src="file:///etc/passwd"><link rel="attachment" href="file:///etc/passwd">'
    assert demo_client.post("/workshop/people", data={"name": note, "initials": "X"}).status_code == 303
    form = {"formula": "1", "size": "300 g", "planned_on": "2026-11-30", "made_by": note}
    path = demo_client.post("/batches/new", data=form).headers["Location"]
    reader = pdf(demo_client, f"{path}/sheet.pdf")
    assert "<img" in words(reader)
    assert "/EmbeddedFiles" not in reader.trailer["/Root"].get("/Names", {})  # type: ignore[union-attr]
    assert not any(page.images for page in reader.pages)


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("size=abc", "abc has no number"),
        ("size=2+jars&fill=", ""),
        ("loss=100", "99"),
        ("loss=NaN", "not a number"),
        ("size=1e400+g", ""),
        ("size=-5+g", ""),
        ("size=%00", ""),
    ],
)
def test_a_size_that_makes_no_sense_is_told_at_its_field(demo_client: FlaskClient, query: str, message: str) -> None:
    answer = demo_client.get(f"/formulas/1/batch-sheet?{query}")
    assert answer.status_code in {200, 422}
    assert message in answer.text
    assert demo_client.get(f"/formulas/1/batch-sheet.pdf?{query}").status_code in {200, 422}


@pytest.mark.parametrize("name", ["formula_id", "endpoint", "_method", "_scheme", "_external", "kind"])
def test_nothing_added_to_an_address_breaks_a_paper(demo_client: FlaskClient, name: str) -> None:
    for kind in KINDS:
        assert demo_client.get(f"/formulas/1/{kind}?{name}=2").status_code == 200
        assert demo_client.get(f"/formulas/1/{kind}.pdf?{name}=2&size=abc").status_code in {200, 422}


@pytest.mark.parametrize("version", ["abc", "-1", "9999999999", "999"])
def test_a_version_that_is_not_there_is_not_the_draft(demo_client: FlaskClient, version: str) -> None:
    assert demo_client.get(f"/formulas/1/batch-sheet?version={version}").status_code == 404


def test_a_volume_without_a_density_says_so(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/formulas/6/batch-sheet?size=2+l")
    assert answer.status_code == 422
    assert "density" in answer.text


def test_where_paper_cannot_be_made_the_page_says_what_to_install(
    demo_client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    missing = render.PdfState(ready=False, advice="PDFs are off: install the packages libpango-1.0-0.")
    monkeypatch.setattr(render, "pdf_state", lambda: missing)
    monkeypatch.setitem(demo_client.application.jinja_env.globals, "pdf_state", lambda: missing)
    page = demo_client.get("/formulas/1/batch-sheet")
    assert page.status_code == 200
    assert "libpango-1.0-0" in page.text
    answer = demo_client.get("/formulas/1/batch-sheet.pdf")
    assert answer.status_code == 503
    assert "libpango-1.0-0" in answer.text


def test_prices_that_are_missing_are_named_and_the_cost_says_at_least(demo_client: FlaskClient) -> None:
    page = demo_client.get("/formulas/2/cost-sheet").text
    assert "Folding box" in page
    assert "at least €" in page
    assert "at most" in page
    offers = page.split("Buying for more batches at once")[1]
    assert offers.count("at least €") == offers.count("at most ") == 3
    assert page.split("For a margin of")[1].split("</table>")[0].count("at least €") == 4
    assert "Folding box" not in demo_client.get("/formulas/1/cost-sheet").text


def test_buying_for_more_batches_never_makes_a_unit_dearer(demo_client: FlaskClient) -> None:
    page = demo_client.get("/formulas/1/cost-sheet").text
    section = page.split("Buying for more batches at once")[1]
    totals = [Decimal(t) for t in re.findall(r"<th scope=\"row\">\d+</th>.*?€[\d.]+.*?€([\d.]+)", section)]
    assert len(totals) == 3
    assert totals == sorted(totals, reverse=True)


def test_the_declaration_follows_the_law_that_is_asked_for(demo_client: FlaskClient) -> None:
    eu, us = (demo_client.get(f"/formulas/7/declaration?jurisdiction={law}").text for law in ("EU", "US"))
    assert "CI 77491" in eu.split('id="declaration"')[1][:600]
    assert "Iron Oxides" in us.split('id="declaration"')[1][:600]
    for page, other in ((eu, "Iron Oxides"), (us, "CI 77491")):
        assert other in page.split('id="declaration-other"')[1][:600]
        assert page.count("data-copy=") == 2
    assert demo_client.get("/formulas/7/declaration?jurisdiction=XX").status_code == 422
