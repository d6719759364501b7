"""How far a weight, a yield or a reading may miss its plan."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.formula import Formula
from app.science.numbers import ceil_to_step, floor_to_step, plain
from app.science.specification import Check

# Preservative, acid or alkali, active and colour are weighed more closely than the rest (common practice).
TIGHT = re.compile(
    r"preserv|ph adjust|neutrali[sz]|buffer|\bacid|alkali|active|colou?r|pigment|vitamin|retin", re.IGNORECASE
)
PH_WITHIN = Decimal("0.3")  # pH around the target where a formula states no limits (common practice)


@dataclass(frozen=True, slots=True)
class Band:
    """A range that a value should lie in; both ends are inside."""

    low: Decimal
    high: Decimal

    def holds(self, value: Decimal) -> bool:
        """Return whether a value lies in the band."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Weight:
    """The weight of a line in grams as planned to the last digit, and the band of what the scale may show."""

    target_g: Decimal
    band: Band


def share_slack(mine: Sequence[Weight], others: Sequence[Weight]) -> Decimal:
    """Return how far weights within their bands can move the share of some lines in the whole, as a part of it.

    The share is the farthest off where these lines lie at one end of their bands and the others at the opposite one.

    >>> ten = Weight(Decimal(10), Band(Decimal(9), Decimal(12)))
    >>> ninety = Weight(Decimal(90), Band(Decimal(88), Decimal(91)))
    >>> share_slack([ten], [ninety])
    Decimal('0.2')
    """
    target = sum((one.target_g for one in mine), Decimal(0))
    share = target / sum((one.target_g for one in others), target)
    low, other_low = (sum((one.band.low for one in weights), Decimal(0)) for weights in (mine, others))
    high, other_high = (sum((one.band.high for one in weights), Decimal(0)) for weights in (mine, others))
    lowest, highest = low / (low + other_high), high / (high + other_low)
    return max(highest / share - 1, 1 - lowest / share, Decimal(0))


def is_tight(functions: str, phase_hint: str) -> bool:
    """Return whether a material is weighed within the narrow band, by its functions and its usual phase."""
    return bool(TIGHT.search(functions)) or phase_hint == "adjuster"


def weighing_band(planned_g: Decimal, step_g: Decimal, percent: Decimal) -> Band:
    """Return the band of a weight in grams: planned +/- percent of it, and never less than one step of its scale.

    Both ends are weights that the scale can show.

    >>> weighing_band(Decimal(200), Decimal("0.1"), Decimal(2))
    Band(low=Decimal('196'), high=Decimal('204'))
    >>> weighing_band(Decimal("0.5"), Decimal("0.1"), Decimal(1))
    Band(low=Decimal('0.4'), high=Decimal('0.6'))
    """
    half = max(planned_g * percent / 100, step_g)
    low = ceil_to_step(max(planned_g - half, Decimal(0)), step_g)
    return Band(_tidy(low), _tidy(floor_to_step(planned_g + half, step_g)))


def _tidy(grams: Decimal) -> Decimal:
    return Decimal(plain(grams))


def checks_of(formula: Formula) -> tuple[Check, ...]:
    """Return what has to be read of a batch: the specification, and the pH around its target where that says none."""
    target = formula.target_ph
    if target is None or any(check.answers_to("pH") for check in formula.checks):
        return formula.checks
    low, high = max(target - PH_WITHIN, Decimal(0)), target + PH_WITHIN
    return (Check("pH", low, high, source="target pH, common practice"), *formula.checks)
