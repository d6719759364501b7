"""The size of a batch as a maker says it: a mass, a volume, or a number of units of a fill."""

import re
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams

LARGEST_G = Decimal("1e8")
_UNITS = re.compile(
    r"^\s*(?P<count>[\d.,\s]+?)\s*(?:x|×|units?|pieces?|jars?|pots?|bottles?|tubes?|tins?|bars?|packs?|shakers?)\s*$",
    re.IGNORECASE | re.ASCII,
)


@dataclass(frozen=True, slots=True)
class BatchSize:
    """What should be left after process loss, in grams; the fill of one unit in grams and the units, where known."""

    net_g: Decimal
    fill_g: Decimal | None = None
    units: int | None = None


def read_fill(text: str, density_g_ml: Decimal | None, field: str = "fill") -> Decimal | None:
    """Read what goes into one unit, in grams; None when nothing is typed.

    Raises:
        Invalid: at ``field``, when it cannot be read, is zero, or is a volume without a density.
    """
    if not text.strip():
        return None
    return _in_range(to_grams(parse_quantity(text, field), density_g_ml, field), field)


def read_batch_size(
    text: str, fill: str, density_g_ml: Decimal | None, *, field: str = "batch", fill_field: str = "fill"
) -> BatchSize:
    """Read a batch size such as ``500 g``, ``2 l`` or ``40 units``.

    Raises:
        Invalid: at ``field`` or ``fill_field``, when one cannot be read, is zero, needs a density or needs the other.
    """
    units = _UNITS.match(text)
    if units is None:
        net_g = _in_range(to_grams(parse_quantity(text, field), density_g_ml, field), field)
        fill_g = read_fill(fill, density_g_ml, fill_field)
        return BatchSize(net_g, fill_g, int(net_g // fill_g) if fill_g else None)
    count = _count(units["count"], field)
    fill_g = read_fill(fill, density_g_ml, fill_field)
    if fill_g is None:
        raise Invalid(fill_field, f"Write what goes into one unit, so that {count} units have a weight.")
    return BatchSize(_in_range(count * fill_g, field), fill_g, count)


def _count(text: str, field: str) -> int:
    count = parse_number(text, field, low=Decimal(1), high=Decimal(1_000_000))
    if count != count.to_integral_value():
        raise Invalid(field, f"Units come whole; {plain(count)} is not a whole number.")
    return int(count)


def _in_range(grams: Decimal, field: str) -> Decimal:
    if not 0 < grams <= LARGEST_G:
        raise Invalid(field, f"Write more than 0 and at most {plain(LARGEST_G / 1000)} kg.")
    return grams
