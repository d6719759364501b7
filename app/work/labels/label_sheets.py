"""The sheets of labels of a workshop."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from app.reference.label_sheets import common_sheets
from app.science.errors import Invalid
from app.science.label_sheets import SheetGrid
from app.science.lengths import parse_mm
from app.science.numbers import parse_number, plain
from app.store.engine import Store
from app.store.labels import LabelSheet, label_sheets
from app.work.equipment import Register
from app.work.form import Field, Form, rule
from app.work.form_fields import Name, TickBox

LONGEST_MM = Decimal(1200)


class Length(Field[Decimal]):
    """A length in mm, typed with any unit; ``asked`` is the sentence for an empty field."""

    def __init__(self, label: str, asked: str, *, low: Decimal = Decimal(0), **more: Any) -> None:
        super().__init__(label, **{"width": "w6", **more})
        self.asked, self.low = asked, low

    def read(self, text: str, at: str, form: Form) -> Decimal:
        """Return the length."""
        if not text.strip():
            raise Invalid(at, self.asked)
        return parse_mm(text, at, low=self.low, high=LONGEST_MM)

    def write(self, value: Decimal) -> str:
        """Return the length with its unit."""
        return f"{plain(value)} mm"


class Count(Field[int]):
    """A whole number from 1 to 50."""

    numeric = True
    control = "decimal"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return the number."""
        number = parse_number(text, at, low=Decimal(1), high=Decimal(50))
        if number != int(number):
            raise Invalid(at, "Enter a whole number.")
        return int(number)


SIZE = "Enter a length, such as 70 mm or 2 5/8 in."


class SheetForm(Form):
    """A sheet of labels."""

    name = Name("Name", "Enter a name for the sheet, such as A4, 24 labels of 70 x 37 mm.", width="w20")
    page_width = Length("Page width", SIZE, column="page_width_mm", default="210 mm", hint="mm, or with a unit")
    page_height = Length("Page height", SIZE, column="page_height_mm", default="297 mm")
    across = Count("Labels across", column="columns", default="3", width="w4")
    down = Count("Labels down", column="rows", default="8", width="w4")
    label_width = Length("Label width", SIZE, low=Decimal(5), column="label_width_mm", default="70 mm")
    label_height = Length("Label height", SIZE, low=Decimal(5), column="label_height_mm", default="37 mm")
    left = Length("From the left edge to the first label", SIZE, column="left_mm", default="0 mm")
    top = Length("From the top edge to the first label", SIZE, column="top_mm", default="0.5 mm")
    pitch_x = Length("From one label to the next, across", SIZE, column="pitch_x_mm", default="70 mm")
    pitch_y = Length("From one label to the next, down", SIZE, column="pitch_y_mm", default="37 mm")
    is_round = TickBox("Round labels")
    shift_x = Length(
        "Printed too far to the right by", SIZE, low=Decimal(-20), column="shift_x_mm", default="0 mm",
        hint="As measured on the calibration page; with a minus for too far to the left.",
    )  # fmt: skip
    shift_y = Length(
        "Printed too far down by", SIZE, low=Decimal(-20), column="shift_y_mm", default="0 mm",
        hint="With a minus for too far up.",
    )  # fmt: skip

    @rule
    def labels_lie_on_the_page(self) -> None:
        """Refuse labels that overlap or leave the page."""
        grid = SheetGrid(
            float(self.page_width), float(self.page_height), self.across, self.down, float(self.label_width),
            float(self.label_height), float(self.left), float(self.top), float(self.pitch_x), float(self.pitch_y),
            self.is_round,
        )  # fmt: skip
        grid.check()


SHEETS = Register(LabelSheet, SheetForm, label_sheets)


def grid_of(sheet: LabelSheet) -> SheetGrid:
    """Return the grid of a stored sheet."""
    return SheetGrid(
        float(sheet.page_width_mm), float(sheet.page_height_mm), sheet.columns, sheet.rows,
        float(sheet.label_width_mm), float(sheet.label_height_mm), float(sheet.left_mm), float(sheet.top_mm),
        float(sheet.pitch_x_mm), float(sheet.pitch_y_mm), sheet.is_round, float(sheet.shift_x_mm),
        float(sheet.shift_y_mm),
    )  # fmt: skip


def add_common_sheet(store: Store, name: str) -> str:
    """Take a common sheet into the workshop, once, and return its name.

    Raises:
        Invalid: at ``common``, when there is none of that name.
    """
    measures = common_sheets().get(name)
    if measures is None:
        raise Invalid("common", "Choose a sheet of the list.")
    with store.transaction() as session:
        if name not in {sheet.name for sheet in label_sheets(session)}:
            session.add(LabelSheet(name=name, shift_x_mm=Decimal(0), shift_y_mm=Decimal(0), **measures))
    return name


def sheet_names(sheets: Sequence[LabelSheet]) -> list[str]:
    """Return the common sheets that a workshop does not have yet."""
    there = {sheet.name for sheet in sheets}
    return [name for name in common_sheets() if name not in there]
