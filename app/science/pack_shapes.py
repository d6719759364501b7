"""Labels that go round a pack: how long a wrap is, and what of it is the front."""

from dataclasses import dataclass
from math import pi

FRONT_SHARE = 0.4  # of the circumference: the principal display panel of a cylinder (21 CFR 701.10(b))


@dataclass(frozen=True, slots=True)
class Wrap:
    """A label round a cylinder of ``diameter_mm``, glued over itself by ``overlap_mm``; lengths in mm.

    Along it come the front, the back and the overlap, on which nothing is printed.
    """

    diameter_mm: float
    overlap_mm: float

    @property
    def circumference_mm(self) -> float:
        """The way round: pi x diameter."""
        return pi * self.diameter_mm

    @property
    def length_mm(self) -> float:
        """The length of the label: circumference + overlap."""
        return self.circumference_mm + self.overlap_mm

    @property
    def front_mm(self) -> float:
        """The width of the front."""
        return FRONT_SHARE * self.circumference_mm

    @property
    def back_mm(self) -> float:
        """The width of the back."""
        return self.circumference_mm - self.front_mm
