"""What became of the bulk of a packing run: units, rest and waste against what was taken.

Good practice asks that quantities are reconciled and a difference is explained (ISO 22716:2007, 7.3, in our words);
no source sets a band, so the workshop does.
"""

from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic


@dataclass(frozen=True, slots=True)
class Reconciled:
    """The bulk of a run in grams: taken, and accounted for in units, as rest and as waste."""

    taken_g: Decimal
    in_units_g: Decimal
    rest_g: Decimal
    waste_g: Decimal

    @property
    def accounted_g(self) -> Decimal:
        """Units, rest and waste together."""
        return self.in_units_g + self.rest_g + self.waste_g

    @property
    def missing_g(self) -> Decimal:
        """What nobody knows of; below zero where more came out than went in."""
        return self.taken_g - self.accounted_g

    @property
    def percent(self) -> Decimal:
        """What is accounted for, in % of what was taken."""
        return self.accounted_g / self.taken_g * 100


def reconcile(
    taken_g: Decimal, units: int, fill_g: Decimal, rest_g: Decimal = Decimal(0), waste_g: Decimal = Decimal(0)
) -> Reconciled:
    """Account for the bulk of a run: in units = units filled x mean fill.

    Args:
        taken_g: the bulk taken, grams, above 0.
        units: every unit filled, the spoilt ones and the samples among them.
        fill_g: the mean net fill per unit in grams, above 0.
        rest_g: what was left over and weighed back, grams.
        waste_g: what was lost on the way, grams.

    Raises:
        Invalid: at ``taken_g`` or ``fill_g``, when it is not above 0.
    """
    for name, value in (("taken_g", taken_g), ("fill_g", fill_g)):
        if value <= 0:
            raise Invalid(name, "Enter a weight above 0.")
    with exact_arithmetic():
        return Reconciled(taken_g, units * fill_g, rest_g, waste_g)
