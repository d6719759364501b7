"""Amounts as typed become percentages w/w, whichever way the recipe was written."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.formula import HUNDRED, ZERO, Line, percent_w_w_from_v_v, percent_w_w_from_w_v
from app.science.numbers import exact_arithmetic, parse_number, to_places
from app.science.quantities import parse_quantity, to_grams
from app.work.formulas.draft import DraftLine
from app.work.formulas.shelf import ShelfMaterial

PLACES = 6
NEAR_HUNDRED = Decimal("0.05")
FILLS_UP = re.compile(r"\s*(q\.?\s?s\.?|ad|to|rest|balance)(\s*(to|ad)?\s*100\s*%?)?\s*", re.IGNORECASE)
BASES: Mapping[str, str] = {
    "w/w": "% w/w",
    "w/v": "% w/v",
    "v/v": "% v/v",
    "amounts": "amount",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """A line as typed with its material, None while no material is known."""

    line: DraftLine
    material: ShelfMaterial | None

    @property
    def field(self) -> str:
        """The name of the field that holds the amount."""
        return f"line.{self.line.id}.amount"

    @property
    def fills_up(self) -> bool:
        """Whether the line is the one to 100, by its mark or by its words (``q.s.``, ``to 100``)."""
        return self.line.qs or bool(FILLS_UP.fullmatch(self.line.amount))


@dataclass(frozen=True, slots=True)
class Measure:
    """What amounts are measured against: the product's density in g/mL and the weighed batch in grams, where known."""

    basis: str
    density_g_ml: Decimal | None
    batch_g: Decimal | None


def percent_lines(rows: Sequence[Typed], measure: Measure) -> tuple[tuple[Line, ...], tuple[Invalid, ...]]:
    """Read every amount; a line that cannot be read has no percentage and a fault at its field.

    Percentages that had to be worked out are rounded to six places, and the largest line takes what rounding left.
    """
    read: dict[str, Decimal] = {}
    faults = []
    for row in rows:
        if row.fills_up or not row.line.amount.strip():
            continue
        try:
            read[row.line.id] = _read(row, measure)
        except Invalid as fault:
            faults.append(fault)
    whole = any(row.fills_up for row in rows)
    percents = read if measure.basis == "w/w" else _worked_out(read, measure, filled_up=whole)
    return tuple(_line(row, percents.get(row.line.id), measure) for row in rows), tuple(faults)


def _line(row: Typed, percent: Decimal | None, measure: Measure) -> Line:
    material = row.material
    return Line(
        id=row.line.id,
        percent=percent,
        qs=row.fills_up,
        phase=row.line.phase,
        name=material.name if material else row.line.typed,
        parts=material.parts if material else None,
        density_g_ml=material.density_g_ml if material else None,
        by_volume=measure.basis == "v/v" and not row.fills_up and material is not None,
    )


def _read(row: Typed, measure: Measure) -> Decimal:
    """Read one amount: a percentage w/w, or grams where the amounts are weights and measures."""
    density = row.material.density_g_ml if row.material else None
    if measure.basis == "amounts":
        return to_grams(parse_quantity(row.line.amount, row.field, default_unit="g"), density, row.field)
    percent = parse_number(row.line.amount, row.field, low=ZERO, high=HUNDRED * 30)
    if measure.basis == "w/w" and percent > HUNDRED:
        raise Invalid(row.field, "A line cannot be more than 100 %.")
    if measure.basis == "w/w":
        return percent
    if measure.density_g_ml is None:
        raise Invalid("density", "Give the density of the product in g/mL, so that volumes become weights.")
    if measure.basis == "w/v":
        return percent_w_w_from_w_v(percent, measure.density_g_ml)
    if density is None:
        raise Invalid(row.field, "This amount is a volume; give the material a density, or write a weight.")
    return percent_w_w_from_v_v(percent, density, measure.density_g_ml)


def _worked_out(values: Mapping[str, Decimal], measure: Measure, *, filled_up: bool) -> dict[str, Decimal]:
    with exact_arithmetic():
        if measure.basis == "amounts":
            whole = measure.batch_g if filled_up else sum(values.values(), ZERO)
            values = {key: HUNDRED * grams / whole for key, grams in values.items()} if whole else {}
        rounded = {key: to_places(value, PLACES) for key, value in values.items()}
        off = HUNDRED - sum(rounded.values(), ZERO)
    if rounded and not filled_up and off and abs(off) <= NEAR_HUNDRED:
        rounded[max(rounded, key=lambda key: rounded[key])] += off
    return rounded
