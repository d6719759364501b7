"""The page, the PDF and the archive of a product's dossier."""

import io
import zipfile

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

CHAPTERS = (
    "Composition", "Specification and results", "Limits checked", "Fragrance allergens", "Preservation", "Stability",
    "Method", "Label", "Packaging", "Complaints and undesirable effects", "Documents", "What is missing",
)  # fmt: skip


def test_the_page_has_every_chapter_and_leaves_the_assessment_to_a_qualified_person(demo_client: FlaskClient) -> None:
    page = demo_client.get("/products/1/dossier").text
    assert all(f" {chapter}</h2>" in page for chapter in CHAPTERS)
    assert "It is no safety assessment" in page
    assert "qualified under Article 10(2)" in page


@pytest.mark.paper
def test_the_archive_holds_the_pdf_with_the_same_words_and_numbered_pages(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/products/1/dossier.zip?paper=Letter")
    assert answer.headers["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        name = next(one for one in archive.namelist() if one.endswith(".pdf"))
        pages = PdfReader(io.BytesIO(archive.read(name))).pages
        assert {"README.txt", "composition.csv", "results.csv", "contents.csv"} <= set(archive.namelist())
    texts = [page.extract_text() for page in pages]
    assert all(f"page {n} of {len(pages)}" in text for n, text in enumerate(texts, start=1))
    whole = " ".join(" ".join(texts).split())
    assert all(chapter in whole for chapter in CHAPTERS)
    assert "It is no safety assessment" in whole


def test_a_product_whose_formula_does_not_add_up_is_told(demo_client: FlaskClient) -> None:
    made = demo_client.post("/formulas", data={"name": "Empty", "key": "e"})
    formula = made.headers["Location"].rstrip("/").split("/")[-1].split("?")[0]
    demo_client.post(f"/formulas/{formula}/products", data={"name": "Empty 50 ml", "jurisdiction": "EU", "key": "p"})
    for kind in ("", ".pdf", ".zip"):
        answer = demo_client.get(f"/products/11/dossier{kind}")
        assert answer.status_code == 422
        assert "There is no dossier yet" in answer.text
    assert demo_client.get("/products/99/dossier").status_code == 404
