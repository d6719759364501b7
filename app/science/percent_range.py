"""Percentages as a data sheet gives them: one figure, or a range with or without a typical value."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, Decimal

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain

HUNDRED = Decimal(100)
ZERO = Decimal(0)
STEP = Decimal("0.01")
LONGEST = 60

_DASH = "-\u2010\u2011\u2012\u2013\u2014"
_TYPICAL = re.compile(r"(?P<range>[^()]*)\((?P<typical>[^()]*)\)")
_SPAN = re.compile(rf"(?P<low>[^{_DASH}]+?)\s*(?:[{_DASH}]|\bto\b|\.\.+|…)\s*(?P<high>[^{_DASH}]+)", re.IGNORECASE)
_BELOW = re.compile(r"(?:<=?|≤|\bup to\b|\bmax\.?)\s*(?P<high>.+)", re.IGNORECASE)
_ABOVE = re.compile(r"(?:>=?|≥|\bmin\.?)\s*(?P<low>.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PercentRange:
    """A percentage (0..100) that is used, with the limits of the range it was given as; None for a single figure."""

    typical: Decimal
    low: Decimal | None = None
    high: Decimal | None = None

    @property
    def text(self) -> str:
        """The range as it would be typed: ``40``, ``30-50``, or ``30-50 (42)`` when 42 is not the middle."""
        if self.low is None or self.high is None:
            return plain(self.typical)
        span = f"{plain(self.low)}-{plain(self.high)}"
        return span if self.typical == middle(self.low, self.high) else f"{span} ({plain(self.typical)})"


def middle(low: Decimal, high: Decimal) -> Decimal:
    """Return the middle of the range ``low`` to ``high``, % w/w, exact."""
    return (low + high) / 2


def parse_range(text: str, field: str = "") -> PercentRange:
    """Read a percentage or a range of percentages as a data sheet writes it.

    ``40``, ``30-50``, ``30 to 50 %``, ``30-50 (42)``, ``< 5`` (0 to 5) and ``> 95`` (95 to 100) are read; the value
    used is the figure in brackets, else the middle of the range.

    Raises:
        Invalid: at ``field``, when a figure is no number, is outside 0 to 100, or the range is not in order.
    """
    text = text.strip()
    if len(text) > LONGEST:
        raise Invalid(field, "Enter one percentage or one range, such as 40, 30-50 or 30-50 (42).")
    bracket = _TYPICAL.fullmatch(text)
    low, high = _limits(bracket["range"].strip() if bracket else text, field)
    if low is not None and high is not None and low > high:
        raise Invalid(field, f"Enter the smaller figure first: {plain(high)}-{plain(low)}.")
    if low is None or high is None:
        if bracket is not None or low is None:
            raise Invalid(field, f"{text} is not a percentage; enter 40, 30-50 or 30-50 (42).")
        return PercentRange(low)
    typical = _percent(bracket["typical"], field) if bracket else middle(low, high)
    if not low <= typical <= high:
        raise Invalid(field, f"The typical value {plain(typical)} lies outside {plain(low)}-{plain(high)}.")
    return PercentRange(typical, low, high)


def _limits(text: str, field: str) -> tuple[Decimal | None, Decimal | None]:
    below, above = _BELOW.fullmatch(text), _ABOVE.fullmatch(text)
    if below:
        return ZERO, _percent(below["high"], field)
    if above:
        return _percent(above["low"], field), HUNDRED
    span = _SPAN.fullmatch(text)
    if span:
        return _percent(span["low"], field), _percent(span["high"], field)
    return _percent(text, field), None


def _percent(text: str, field: str) -> Decimal:
    return parse_number(text, field, low=ZERO, high=HUNDRED)


def fit_to_hundred(shares: Sequence[PercentRange]) -> tuple[PercentRange, ...] | None:
    """Move typical values inside their ranges until they sum to 100; None when the ranges do not allow it.

    Each value moves the same fraction of the way to its limit, rounded to 0.01; single figures stay.
    """
    missing = HUNDRED - sum((share.typical for share in shares), ZERO)
    rooms = []
    for share in shares:
        limit = share.high if missing > 0 else share.low
        rooms.append(ZERO if limit is None else abs(limit - share.typical))
    room = sum(rooms, ZERO)
    if not missing:
        return tuple(shares)
    if room < abs(missing):
        return None
    moves = [(part * abs(missing) / room).quantize(STEP, rounding=ROUND_DOWN) for part in rooms]
    rest = abs(missing) - sum(moves, ZERO)  # what rounding left over goes to the values with the most room left
    left = [part - move for part, move in zip(rooms, moves, strict=True)]
    for place in sorted(range(len(moves)), key=lambda n: -left[n]):
        more = min(rest, rooms[place] - moves[place])
        moves[place] += more
        rest -= more
    sign = 1 if missing > 0 else -1
    return tuple(replace(s, typical=s.typical + sign * move) for s, move in zip(shares, moves, strict=True))
