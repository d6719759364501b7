"""A batch sheet of one line, of twenty-five and of eighty, with long names and other letters: nothing is lost."""

import io
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pdfplumber
import pytest
from pypdf import PageObject, PdfReader
from sqlalchemy import select

from app.documents.papers import PageSetup, print_paper
from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.formula import Formula, Line, Material, Phase
from app.science.scales import Scale
from app.store.engine import Store
from app.store.formulas import FormulaVersion
from app.store.workshop import Paper as PaperSize
from app.store.workshop import Workshop
from app.work.batch_sheet import BatchSheet, batch_sheet
from app.work.formulas.versions import formula_of

pytestmark = pytest.mark.paper
LONG = "Bis-Ethylhexyloxyphenol Methoxyphenyl Triazine/Acrylates/C10-30 Alkyl Acrylate Crosspolymer"
NAMES = ("Ελαιόλαδο", "Вода очищенная", "Crème d'œuf à l'amidon", LONG, "Methoxycinnamidopropyltrimonium" * 2)
SIZES = {"A4": (595, 842), "Letter": (612, 792)}
MARGIN = 20


PARTS = (Part("Aqua", Decimal(100)),)


def sheet_of(count: int) -> BatchSheet:
    share = (Decimal(50) / max(count - 1, 1)).quantize(Decimal("0.000001"))
    shares = [Decimal(100) - share * (count - 1), *[share] * (count - 1)]
    lines = tuple(
        Line(str(n), Material(n, f"{NAMES[n % 5]} {n}", PARTS), percent, is_remainder=n == 0)
        for n, percent in enumerate(shares)
    )
    phase = Phase("A", "Everything", Decimal(75), ("Melt.", "Stir."), lines)
    scales = (Scale(Decimal("0.01"), Decimal(5000), "Bench scale"),)
    return batch_sheet(Formula("Largo", (phase,), "XX", size=BatchSize(Decimal(3000)), scales=scales))


def printed(sheet: BatchSheet, paper: str) -> PdfReader:
    shop = Workshop(id=1, name="Larch Street workshop", paper=PaperSize.A4)
    return PdfReader(
        io.BytesIO(print_paper("batch_sheet", "XX", 2, PageSetup(shop, date(2026, 11, 25), paper), sheet=sheet).content)
    )


def bare(text: str) -> str:
    """Drop what a line break changes: spaces, and the hyphens and breaks within a long word."""
    return re.sub(r"[\s\u00ad\u200b]", "", text)


def starts(page: PageObject) -> list[tuple[float, float]]:
    """Give where each piece of text begins, in points from the lower left corner."""
    found: list[tuple[float, float]] = []

    def note(words: str, cm: list[float], tm: list[float], *_rest: object) -> None:
        if words.strip():
            found.append((cm[0] * tm[4] + cm[2] * tm[5] + cm[4], cm[1] * tm[4] + cm[3] * tm[5] + cm[5]))

    page.extract_text(visitor_text=note)
    return found


@pytest.mark.parametrize(("count", "paper"), [(1, "A4"), (25, "Letter"), (80, "A4")])
def test_every_line_is_on_paper_whole_and_inside_the_margins(count: int, paper: str) -> None:
    sheet = sheet_of(count)
    reader = printed(sheet, paper)
    text = bare("".join(page.extract_text() for page in reader.pages))
    for line in sheet.lines:
        assert bare(line.line.name) in text
        assert f"{line.weigh_g:.{line.scale.places}f}g" in text
    assert f"page{len(reader.pages)}of{len(reader.pages)}" in text
    width, height = SIZES[paper]
    for page in reader.pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == (width, height)
        assert all(MARGIN <= x <= width - MARGIN and MARGIN <= y <= height - MARGIN for x, y in starts(page))
    assert len(reader.pages) <= 1 + count // 8
    assert reader.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]


def test_fifteen_lines_in_four_phases_stand_on_two_sides(demo: Store) -> None:
    with demo.reading() as session:
        asked = select(FormulaVersion).where(FormulaVersion.name == "Oat and shea hand cream")
        sheet = batch_sheet(formula_of(session.scalars(asked).one()))
    assert (len(sheet.lines), len(sheet.phases)) == (15, 4)
    for paper in SIZES:
        reader = printed(sheet, paper)
        assert len(reader.pages) == 2
        with pdfplumber.open(io.BytesIO(reader.stream.getvalue())) as pdf:
            assert min(char["size"] for page in pdf.pages for char in page.chars) >= 8 - 1e-3
            boxes = [r for page in pdf.pages for r in page.rects if r["height"] > 20 and r["width"] > 20]
            assert len(boxes) >= 4 * 15  # actual, lot, by and checked of every line


def test_a_title_in_greek_and_cyrillic_is_drawn_with_faces_that_have_these_letters() -> None:
    sheet = sheet_of(1)
    reader = printed(replace(sheet, formula=replace(sheet.formula, name="Κρέμα Крем")), "A4")
    with pdfplumber.open(io.BytesIO(reader.stream.getvalue())) as pdf:
        title = [char for char in pdf.pages[0].chars if char["size"] > 17]
    faces = {char["text"]: char["fontname"] for char in title}
    assert all("Greek" in faces[letter] for letter in "Κρέμα")
    assert all("Cyrillic" in faces[letter] for letter in "Крем" if letter in "рем")
