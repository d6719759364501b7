"""Where bounds, bands and estimates stand on a scale that shows 0.01 % and 80 % at once."""

from dataclasses import dataclass
from math import log10

from app.science.inference.values import Estimate

LEAST, MOST = 0.005, 100.0
TICKS = (0.01, 0.1, 1.0, 10.0, 80.0)
ROOM = 1.0  # per cent of the width kept free on either side, so that no mark is cut


@dataclass(frozen=True, slots=True)
class Strip:
    """The marks of one name as per cent of the width, from the left; ``below`` when the bound leaves the scale."""

    low: float
    high: float
    band_low: float
    band_high: float
    estimate: float
    below: bool


def place(percent: float) -> float:
    """Return where % w/w stands on the logarithmic scale, in per cent of the width.

    >>> place(100.0), place(0.0)
    (99.0, 1.0)
    """
    inside = min(max(percent, LEAST), MOST)
    share = (log10(inside) - log10(LEAST)) / (log10(MOST) - log10(LEAST))
    return round(ROOM + share * (100 - 2 * ROOM), 2)


def strip(one: Estimate) -> Strip:
    """Lay out the marks of one name."""
    return Strip(
        place(one.low),
        place(one.high),
        place(one.band_low),
        place(one.band_high),
        place(one.estimate),
        below=one.low < LEAST,
    )


def ticks() -> tuple[tuple[str, float], ...]:
    """Return the figures of the axis with their places."""
    return tuple((f"{value:g}", place(value)) for value in TICKS)
