"""What a vessel loses while heating, learned from the times it was weighed before and after."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.numbers import exact_arithmetic

LAST = 5  # heatings that the usual loss is taken from; older ones may be of another stove or another lid


@dataclass(frozen=True, slots=True)
class LearnedLoss:
    """The usual loss of a vessel, grams: the middle of its last heatings, the least, the most, and how many."""

    usual_g: Decimal
    least_g: Decimal
    most_g: Decimal
    count: int


@dataclass(frozen=True, slots=True)
class Pot:
    """A vessel: what it weighs empty, and what it usually loses; None where it was never heated."""

    name: str
    tare_g: Decimal
    learned: LearnedLoss | None


def learned_loss(lost_g: Sequence[Decimal]) -> LearnedLoss:
    """Return the usual loss of a vessel from what it lost each time (grams, oldest first, at least one).

    The median of the last five: one boil-over among them does not move it.

    >>> learned_loss([Decimal(90), Decimal(10), Decimal(12), Decimal(11), Decimal(80), Decimal(13)]).usual_g
    Decimal('12')

    Raises:
        ValueError: when there is none.
    """
    if not lost_g:
        raise ValueError("a loss is learned from at least one heating")
    last = sorted(lost_g[-LAST:])
    middle = len(last) // 2
    with exact_arithmetic():
        usual = last[middle] if len(last) % 2 else (last[middle - 1] + last[middle]) / 2
    return LearnedLoss(usual, last[0], last[-1], len(last))
