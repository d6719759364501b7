"""Saving a batch into which too much of something was poured: how much of everything else restores the percentages."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.numbers import exact_arithmetic, to_step


@dataclass(frozen=True, slots=True)
class Poured:
    """A line of a batch: planned and actual grams (0 while it is not weighed), and the step of its scale in grams."""

    key: str
    planned_g: Decimal
    actual_g: Decimal
    step_g: Decimal


@dataclass(frozen=True, slots=True)
class Rescue:
    """What restores the percentages.

    Attributes:
        factor: how many times the plan the batch becomes.
        total_g: what will have been weighed in all.
        targets: grams each line comes to, by key.
        missing: grams still to add, by key; nothing of the line that sets the factor.
    """

    factor: Decimal
    total_g: Decimal
    targets: dict[str, Decimal]
    missing: dict[str, Decimal]


def rescue(lines: Sequence[Poured]) -> Rescue | None:
    """Return what brings the percentages of a batch back; None while nothing went beyond its plan.

    Every line is raised to the same multiple of its plan: factor = max(actual / planned), target = factor x planned,
    missing = target - actual. Nothing is taken out. Targets are rounded to what the scale of each line shows.
    """
    with exact_arithmetic():
        factors = [line.actual_g / line.planned_g for line in lines if line.planned_g > 0]
        factor = max(factors, default=Decimal(0))
        if factor <= 1:
            return None
        targets = {}
        for line in lines:
            targets[line.key] = max(to_step(factor * line.planned_g, line.step_g), line.actual_g)
        missing = {line.key: targets[line.key] - line.actual_g for line in lines if targets[line.key] > line.actual_g}
        return Rescue(factor, sum(targets.values(), Decimal(0)), targets, missing)
