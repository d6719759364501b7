"""Every kind of paper: tagged, titled, in a language, in faces of our own, on its page size, with nothing cut off."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.documents.render import to_pdf
from app.store.engine import Store, sqlite_url
from app.web import create_app

pytestmark = pytest.mark.paper
PAGES = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0), "A5": (419.5, 595.3)}
FACES = ("Plex-Sans", "Source-Serif", "Tarebook-Signs")
# Each kind of paper on one of the two page sizes; their tests of their own have the other.
PAPERS = [
    ("/formulas/2/batch-sheet.pdf", "A4"),
    ("/formulas/2/cost-sheet.pdf", "Letter"),
    ("/formulas/2/declaration.pdf", "A4"),
    ("/formulas/2/checks-sheet.pdf", "Letter"),
    ("/formulas/2/class.pdf?participants=2&size=60 g", "Letter"),
    ("/formulas/2/method-card.pdf", "A5"),
    ("/batches/1/sheet.pdf", "Letter"),
    ("/batches/1/record.pdf", "A4"),
    ("/products/2/dossier.pdf", "Letter"),
    ("/products/price-list.pdf", "A4"),
    ("/batches/1/label.pdf", ""),
]


@pytest.fixture(scope="module")
def workshop(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FlaskClient]:
    path = tmp_path_factory.mktemp("papers") / "demo.db"
    path.write_bytes(demo_file.read_bytes())
    store = Store(sqlite_url(path))
    yield create_app(store, secret=b"a key for tests").test_client()
    store.close()


def faces(reader: PdfReader) -> dict[str, bool]:
    """Return every face of a PDF with whether it is embedded."""
    found: dict[str, bool] = {}
    for page in reader.pages:
        fonts: Any = page.get("/Resources", {}).get("/Font") or {}
        for font in (one.get_object() for one in fonts.values()):
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            kinds = inner["/FontDescriptor"].get_object()
            embedded = any(key in kinds for key in ("/FontFile", "/FontFile2", "/FontFile3"))
            found[str(font["/BaseFont"]).rsplit("+", 1)[-1].lstrip("/")] = embedded
    return found


def check(data: bytes, size: tuple[float, float] | None) -> PdfReader:
    reader = PdfReader(io.BytesIO(data))
    root: Any = reader.trailer["/Root"]
    assert root["/Lang"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert reader.metadata is not None
    assert reader.metadata.title
    used = faces(reader)
    assert used
    assert all(used.values())
    assert [face for face in used if not face.startswith(FACES)] == []
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        for page in pdf.pages:
            if size:
                assert (float(page.width), float(page.height)) == pytest.approx(size, abs=0.5)
            outside = [
                c["text"] for c in page.chars if c["x0"] < 0 or c["x1"] > page.width or c["bottom"] > page.height
            ]
            assert outside == []
    return reader


@pytest.mark.parametrize(("address", "paper"), PAPERS, ids=[address.split("?")[0] for address, _ in PAPERS])
def test_a_paper_can_be_read_by_everybody_and_printed_anywhere(workshop: FlaskClient, address: str, paper: str) -> None:
    mark = "&" if "?" in address else "?"
    asked = {"A5": "A4", "": "A4"}.get(paper, paper)
    answer = workshop.get(f"{address}{mark}paper={asked}")
    assert answer.mimetype == "application/pdf"
    check(answer.data, PAGES.get(paper))


def test_latin_greek_cyrillic_and_every_sign_used_are_in_faces_of_our_own() -> None:
    words = "Ćwikła Ångström Αλόη βέρα, έλαιο Крем для рук, Їжак ▲ ■ ○ ✓ ≤ ≥ × ° µ ½ – … “ ” ‘ ’ € £ → ← ₂ ² ≈ ±"
    css = "".join(f'<link rel="stylesheet" href="css/{name}.css">' for name in ("faces", "paper", "pdf", "pdf-A4"))
    html = (
        f"<!doctype html><html lang='en'><head><title>Signs</title>{css}</head>"
        f"<body><div class='paper'><h1>{words}</h1><p>{words}</p><p><strong>{words}</strong></p></div></body></html>"
    )
    text = check(to_pdf(html), PAGES["A4"]).pages[0].extract_text()
    assert "Крем для рук" in text
    assert "έλαιο" in text
