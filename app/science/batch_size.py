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
    """A batch size (net, after process loss) in grams; the fill per unit in grams and the units, where known.

    ``amount`` and ``unit`` are how it was asked for (``2``, ``l``; ``40``, ``units``), for a heading; grams without.
    So are ``fill_amount`` and ``fill_unit``.
    """

    net_g: Decimal
    fill_g: Decimal | None = None
    units: int | None = None
    amount: Decimal | None = None
    unit: str = "g"
    fill_amount: Decimal | None = None
    fill_unit: str = "g"

    @property
    def words(self) -> str:
        """The size as it was asked for, such as ``500 g``, ``2 l`` or ``40 units``."""
        return f"{plain(self.net_g if self.amount is None else self.amount)} {self.unit}"

    @property
    def fill_words(self) -> str:
        """The fill per unit as it was asked for; empty when it is not known."""
        if self.fill_g is None:
            return ""
        return f"{plain(self.fill_g if self.fill_amount is None else self.fill_amount)} {self.fill_unit}"


def read_batch_size(
    text: str, fill: str, density_g_ml: Decimal | None, *, field: str = "batch", fill_field: str = "fill"
) -> BatchSize:
    """Return the batch size of a text such as ``500 g``, ``2 l`` or ``40 units``, with the fill per unit.

    Raises:
        Invalid: at ``field`` or ``fill_field``, when one cannot be read, is zero, needs a density or needs the other.
    """
    counted = _UNITS.match(text)
    if counted is None:
        net_g, amount, unit = _measured(text, density_g_ml, field)
        if not fill.strip():
            return BatchSize(net_g, amount=amount, unit=unit)
        fill_g, fill_amount, fill_unit = _measured(fill, density_g_ml, fill_field)
        return BatchSize(net_g, fill_g, int(net_g // fill_g), amount, unit, fill_amount, fill_unit)
    number = parse_number(counted["count"], field, low=Decimal(1), high=Decimal(1_000_000))
    count = int(number)
    if count != number:
        raise Invalid(field, f"Units come whole; {plain(number)} is not a whole number.")
    if not fill.strip():
        raise Invalid(fill_field, f"Enter what goes into one unit, so that {count} units have a weight.")
    fill_g, fill_amount, fill_unit = _measured(fill, density_g_ml, fill_field)
    return BatchSize(_in_range(count * fill_g, field), fill_g, count, Decimal(count), "units", fill_amount, fill_unit)


def _measured(text: str, density_g_ml: Decimal | None, field: str) -> tuple[Decimal, Decimal, str]:
    """Return a mass or volume in grams, and the amount and unit it was written in."""
    quantity = parse_quantity(text, field)
    return _in_range(to_grams(quantity, density_g_ml, field), field), quantity.amount, quantity.unit.symbol


def _in_range(grams: Decimal, field: str) -> Decimal:
    if not 0 < grams <= LARGEST_G:
        raise Invalid(field, f"Enter more than 0 and at most {plain(LARGEST_G / 1000)} kg.")
    return grams
