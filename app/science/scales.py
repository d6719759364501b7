"""Scales: which one to use for a weight, and the least it resolves."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import ceil_to_step, plain

MOST_ERROR_PERCENT = Decimal(5)
# A reading is uncertain by half a readability at least; that is 5 % of ten readabilities.
FEWEST_STEPS = Decimal(100) / (2 * MOST_ERROR_PERCENT)


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale: smallest step it shows and the most it weighs, both in grams above 0; no capacity means no limit.

    ``vessel_g`` is the weight of the vessel that usually stands on it; it takes its part of the capacity.
    """

    readability_g: Decimal
    capacity_g: Decimal | None = None
    name: str = ""
    vessel_g: Decimal = Decimal(0)

    @property
    def room_g(self) -> Decimal | None:
        """The most that fits beside the vessel, None without a limit; one too heavy for the scale counts as none."""
        if self.capacity_g is None:
            return None
        left = self.capacity_g - self.vessel_g
        return left if left >= self.readability_g else self.capacity_g

    def holds(self, grams: Decimal) -> bool:
        """Return whether the scale can weigh this beside its vessel, rounded up to its step."""
        return self.room_g is None or ceil_to_step(grams, self.readability_g) <= self.room_g

    @property
    def places(self) -> int:
        """The decimals that the scale shows."""
        exponent = self.readability_g.normalize().as_tuple().exponent
        return max(0, -exponent) if isinstance(exponent, int) else 0

    def resolution_percent(self, grams: Decimal) -> Decimal | None:
        """Return half a readability in % of a weight; None for a weight of 0."""
        return 50 * self.readability_g / grams if grams else None


ASSUMED_SCALE = Scale(Decimal("0.01"))


@dataclass(frozen=True, slots=True)
class ScaleChoice:
    """A scale for a weight, and in how many portions the weight must be put on it."""

    scale: Scale
    portions: int = 1


def check_scales(scales: Sequence[Scale]) -> None:
    """Look over the scales of a workshop.

    Raises:
        Invalid: at ``scales`` or ``scales[i].…``, when there is none or one makes no sense.
    """
    if not scales:
        raise Invalid("scales", "List at least one scale, with its readability and capacity in grams.")
    for position, scale in enumerate(scales):
        if scale.readability_g <= 0:
            raise Invalid(f"scales[{position}].readability_g", "The readability must be above 0 g.")
        if scale.capacity_g is not None and scale.capacity_g < scale.readability_g:
            message = f"The capacity of {plain(scale.capacity_g)} g is less than the readability."
            raise Invalid(f"scales[{position}].capacity_g", message)


def choose(grams: Decimal, scales: Sequence[Scale]) -> ScaleChoice:
    """Return the finest scale that holds a weight beside its vessel, else the largest one and the portions it takes."""
    fitting = [scale for scale in scales if scale.holds(grams)]
    if fitting:
        return ScaleChoice(min(fitting, key=lambda scale: scale.readability_g))
    largest = max(scales, key=lambda scale: (scale.room_g or 0, -scale.readability_g))
    room_g = largest.room_g or grams
    return ScaleChoice(largest, int(ceil_to_step(grams, room_g) / room_g))


def least_resolved_g(scales: Sequence[Scale]) -> Decimal:
    """Return the smallest weight that some scale resolves within 5 %: ten readabilities that it can hold."""
    floors = [FEWEST_STEPS * scale.readability_g for scale in scales if scale.holds(FEWEST_STEPS * scale.readability_g)]
    return min(floors, default=FEWEST_STEPS * min(scale.readability_g for scale in scales))
