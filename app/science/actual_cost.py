"""What a batch cost in fact: materials and packaging at what was paid for their lots, with labour and overhead.

Definitions (common practice), as for a planned cost (`science.cost`):
- a lot's share = amount taken x paid / amount received, in one currency;
- a packing run bears the part of the batch that went into it: bulk it took and did not bring back / yield;
- overhead = its percentage of materials + packaging + labour;
- a unit bears its share of its run: good units only, so what was spoilt or kept as a sample makes the rest dearer.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.science.cost import HUNDRED, ZERO, Amounts
from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic


@dataclass(frozen=True, slots=True)
class Spent:
    """So much of a lot, and what it cost; ``cost`` is None where nothing says it, ``source`` says what does."""

    name: str
    lot: str
    amount: Decimal
    unit: str
    cost: Decimal | None
    source: str


def share_of_lot(taken: Decimal, paid: Decimal, received: Decimal) -> Decimal:
    """Return what a part of a lot cost: taken x paid / received.

    Raises:
        Invalid: at ``received`` when it is not above 0, at ``taken`` or ``paid`` when negative.
    """
    if received <= 0:
        raise Invalid("received", "The amount received must be above 0.")
    for name, value in (("taken", taken), ("paid", paid)):
        if value < 0:
            raise Invalid(name, "Enter 0 or more.")
    with exact_arithmetic():
        return taken * paid / received


def known_total(spent: Iterable[Spent]) -> Decimal:
    """Return the sum of the costs that are known, in the currency they are in."""
    with exact_arithmetic():
        return sum((one.cost for one in spent if one.cost is not None), ZERO)


def with_overhead(materials: Decimal, packaging: Decimal, labour: Decimal, overhead_percent: Decimal) -> Amounts:
    """Return the four amounts of money; overhead = (materials + packaging + labour) x percent / 100."""
    with exact_arithmetic():
        overhead = (materials + packaging + labour) * overhead_percent / HUNDRED
    return Amounts(materials, packaging, labour, overhead)


def run_amounts(
    batch: Amounts, share: Decimal, packaging: Decimal, overhead_percent: Decimal, labour: Decimal = ZERO
) -> Amounts:
    """Return what a packing run bears: its share (0 to 1) of materials and labour of the batch, and its own.

    Args:
        labour: of the run alone, such as that of filling.
    """
    with exact_arithmetic():
        return with_overhead(batch.materials * share, packaging, batch.labour * share + labour, overhead_percent)
