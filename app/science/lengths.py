"""Lengths as people type them, in millimetres: ``70 mm``, ``2 5/8 in``, ``1.5 cm``; a bare number is millimetres."""

import re
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import normalise, parse_number, plain, to_places

MM = {"mm": Decimal(1), "cm": Decimal(10), "in": Decimal("25.4"), "inch": Decimal("25.4"), "inches": Decimal("25.4"),
      '"': Decimal("25.4"), "″": Decimal("25.4"), "": Decimal(1)}  # fmt: skip
_UNIT = re.compile(r'(?P<number>.*?)\s*(?P<unit>mm|cm|inches|inch|in\.?|"|″)?', re.IGNORECASE | re.DOTALL)


def parse_mm(text: str, field: str = "", *, low: Decimal = Decimal(0), high: Decimal = Decimal(1200)) -> Decimal:
    """Return a length in mm, exact to a thousandth.

    >>> parse_mm("2 5/8 in"), parse_mm("70")
    (Decimal('66.675'), Decimal('70'))

    Raises:
        Invalid: at ``field``, when it is no length or outside the limits (mm).
    """
    match = _UNIT.fullmatch(normalise(text))
    unit = (match["unit"] or "").lower().rstrip(".") if match else ""
    number = parse_number(match["number"] if match else text, field, low=low if low < 0 else Decimal(0))
    found = to_places(number * MM[unit], 3).normalize() + 0
    if not low <= found <= high:
        raise Invalid(field, f"{plain(found)} mm is outside {plain(low)} to {plain(high)} mm.")
    return Decimal(f"{found:f}")
