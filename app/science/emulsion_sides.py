"""The shares of a formula that stand on either side of an emulsion: water, what goes with it, oil, and neither."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from app.science.formula import HUNDRED, ZERO, Formula
from app.science.names import inci_key
from app.science.numbers import exact_arithmetic
from app.science.rules.names import is_water


class Affinity(StrEnum):
    """The side of an emulsion on which something stands."""

    WATER = "water"
    OIL = "oil"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Split:
    """Shares in % w/w of the finished formula; the four add up to the sum of its lines.

    ``water`` is water itself; ``with_water`` is everything else that stands on the water side.
    """

    water: Decimal
    with_water: Decimal
    oil: Decimal
    other: Decimal


def split_formula(
    formula: Formula, substances: Mapping[str, Affinity], phases: Mapping[str, Affinity] | None = None
) -> Split:
    """Return how a formula splits into water, the rest of the water side, oil and other.

    ``substances`` tells the side by INCI key; a substance it does not hold takes the side of its phase in ``phases``
    (by letter), else 'other'. A material that declares less than 100 % leaves the rest to the side of its phase.
    """
    shares, water = dict.fromkeys(Affinity, ZERO), ZERO
    with exact_arithmetic():
        for phase in formula.phases:
            side = (phases or {}).get(phase.letter, Affinity.OTHER)
            for line in phase.lines:
                rest = line.percent
                for part in line.parts:
                    share = line.percent * part.percent / HUNDRED
                    rest -= share
                    if is_water(part.inci):
                        water += share
                    else:
                        shares[substances.get(inci_key(part.inci), side)] += share
                shares[side] += max(rest, ZERO)
    return Split(water, shares[Affinity.WATER], shares[Affinity.OIL], shares[Affinity.OTHER])
