"""The labels of a round jar in one go: a wrap with front and back, and a disc for the base."""

from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain, to_places
from app.science.pack_shapes import Wrap
from app.store.labels import LabelDesign, LabelSheet, PanelKind, designs_of, label_sheets
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.form import Faults, Form, rule
from app.work.form_fields import OneOf
from app.work.labels.design import ELEMENTS, MOST_DESIGNS, DesignForm, MaybeLength
from app.work.labels.label_sheets import Length
from app.work.products.products import load_product

ASKED = "Enter a length, such as 60 mm or 2 3/8 in."
LEAST_MM = Decimal(15)
PRINTER_EDGE_MM = Decimal(6)  # what desktop printers leave unprinted (common practice)
BETWEEN_MM = Decimal(3)
PAGES_MM = {"A4": (Decimal(210), Decimal(297)), "Letter": (Decimal("215.9"), Decimal("279.4"))}
ON_BASE = frozenset({"batch", "keeping"})


class PrintedOn(StrEnum):
    """What the labels are printed on."""

    ROLL = "roll, a label a page"
    A4 = "A4"
    LETTER = "Letter"


class RoundJarForm(Form):
    """A round jar."""

    diameter = Length("Diameter of the jar", ASKED, low=LEAST_MM, default="")
    height = Length("Height of the label", ASKED, low=Decimal(8), default="")
    overlap = Length("Overlap", ASKED, default="4 mm", hint="3 to 5 mm is usual.")
    base = MaybeLength("Diameter of the label on the base", hint="Empty for none.")
    paper = OneOf("Printed on", PrintedOn, "Choose what the labels are printed on.", default=PrintedOn.ROLL.value)

    @rule
    def base_lies_under_the_jar(self) -> None:
        """Refuse a base label that is wider than the jar, or too small to print."""
        if self.base is not None and not LEAST_MM <= self.base <= self.diameter:
            raise Invalid("base", f"A base label has {plain(LEAST_MM)} to {plain(self.diameter)} mm.")

    @rule
    def wrap_fits_the_paper(self) -> None:
        """Refuse a wrap that is longer than the paper is wide."""
        size = PAGES_MM.get(self.paper.value)
        length = wrap_length(self.diameter, self.overlap)
        if size and length > max(size) - 2 * PRINTER_EDGE_MM:
            raise Invalid("paper", f"The wrap is {plain(length)} mm long, longer than this paper; take a roll.")


def wrap_length(diameter_mm: Decimal, overlap_mm: Decimal) -> Decimal:
    """Return how long the wrap is, mm to a tenth."""
    return to_places(Decimal(str(Wrap(float(diameter_mm), float(overlap_mm)).length_mm)), 1)


@action(once="round jar of product {product_id}")
def add_round_jar(session: Session, product_id: int, typed: RoundJarForm, *, key: str = "") -> int:
    """Add the labels of a round jar to a product with the sheets they are cut from, and return how many they are.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such product.
    """
    product = load_product(session, product_id)
    jar = typed.checked(the_workshop(session))
    if len(designs_of(session, product_id)) + (2 if jar.base else 1) > MOST_DESIGNS:
        raise Faults([Invalid("diameter", f"A product has at most {MOST_DESIGNS} labels; take one off first.")])
    length = wrap_length(jar.diameter, jar.overlap)
    # Everything stands on the wrap but what no product needs, and what the base has.
    left_out = {"price", "qr", *(() if product.barcode else ("barcode",)), *(ON_BASE if (jar.base is not None) else ())}
    shown = {_field(element): "" if element in left_out else "yes" for element in ELEMENTS}
    wrap = DesignForm(name="Wrap", sheet="0", **shown).checked(the_workshop(session)).columns() | {
        "sheet_id": _sheet(session, jar.paper, length, jar.height, is_round=False).id,
        "panel": PanelKind.WRAP,
        "diameter_mm": jar.diameter,
        "overlap_mm": jar.overlap,
    }
    session.add(LabelDesign(product_id=product_id, **wrap))
    if jar.base:
        words = {_field(element): "yes" if element in ON_BASE else "" for element in ELEMENTS}
        disc = DesignForm(name="Base", sheet="0", **words).checked(the_workshop(session)).columns() | {
            "sheet_id": _sheet(session, jar.paper, jar.base, jar.base, is_round=True).id,
            "panel": PanelKind.BASE,
        }
        session.add(LabelDesign(product_id=product_id, **disc))
    session.flush()
    return 2 if jar.base else 1


def _field(element: str) -> str:
    return "shows_directions" if element == "directions" else element


def _sheet(session: Session, paper: PrintedOn, width: Decimal, height: Decimal, *, is_round: bool) -> LabelSheet:
    """Return the sheet of labels of a size, made where there is none yet."""
    words = f"{plain(width)} mm round" if is_round else f"{plain(width)} x {plain(height)} mm"
    name = f"{'Roll' if paper is PrintedOn.ROLL else paper.value}, {words}"
    there = next((one for one in label_sheets(session) if one.name == name), None)
    if there is not None:
        return there
    sheet = LabelSheet(name=name, is_round=is_round, label_width_mm=width, label_height_mm=height)
    for column, value in _grid(paper, width, height).items():
        setattr(sheet, column, value)
    session.add(sheet)
    session.flush()
    return sheet


def _grid(paper: PrintedOn, width: Decimal, height: Decimal) -> dict[str, Any]:
    """Return page, margins and pitch: as many labels as fit, in the middle of the page, turned where that helps."""
    zero = {"shift_x_mm": Decimal(0), "shift_y_mm": Decimal(0)}
    if paper is PrintedOn.ROLL:
        sizes = {"page_width_mm": width, "page_height_mm": height, "pitch_x_mm": width, "pitch_y_mm": height}
        return {**zero, **sizes, "columns": 1, "rows": 1, "left_mm": Decimal(0), "top_mm": Decimal(0)}
    page = PAGES_MM[paper.value]
    if width > page[0] - 2 * PRINTER_EDGE_MM:
        page = (page[1], page[0])
    columns, rows = (
        int((side - 2 * PRINTER_EDGE_MM + BETWEEN_MM) // (size + BETWEEN_MM))
        for side, size in zip(page, (width, height), strict=True)
    )
    columns, rows = max(columns, 1), max(rows, 1)
    left, top = (
        (side - count * size - (count - 1) * BETWEEN_MM) / 2
        for side, count, size in zip(page, (columns, rows), (width, height), strict=True)
    )
    return {
        **zero, "page_width_mm": page[0], "page_height_mm": page[1], "columns": columns, "rows": rows,
        "left_mm": left, "top_mm": top, "pitch_x_mm": width + BETWEEN_MM, "pitch_y_mm": height + BETWEEN_MM,
    }  # fmt: skip
