"""The making: phases as vessels on an axis of temperature."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.documents.drawings.shapes import Drawing, Shape
from app.science.formula import Formula


@dataclass(frozen=True, slots=True)
class PhaseVessel:
    """A phase as it is made: its letter, its name, its share of the formula in %, and its temperature in °C."""

    letter: str
    name: str
    percent: float
    temperature_c: float | None


ROOM_C, HOT_C = 20.0, 50.0
HEIGHT = 88


def making_of(formula: Formula) -> Drawing | None:
    """Draw the making of a formula; None while no phase of it has a line."""
    vessels = [
        PhaseVessel(
            phase.letter,
            phase.name,
            float(sum(line.percent for line in phase.lines)),
            None if phase.temperature_c is None else float(phase.temperature_c),
        )
        for phase in formula.phases
        if phase.lines
    ]
    return making(vessels) if vessels else None


def _lengths(vessels: Sequence[PhaseVessel]) -> Iterator[float]:
    """Yield how far each phase leads on: the first warms up, a cooler one waits, each is then stirred in."""
    now = ROOM_C
    for place, vessel in enumerate(vessels):
        wanted = vessel.temperature_c if vessel.temperature_c is not None else now
        cools = place > 0 and wanted < HOT_C and now > wanted
        yield 1.0 if place == 0 or cools else 0.3
        now = wanted if place == 0 or cools else now


def making(vessels: Sequence[PhaseVessel]) -> Drawing:
    """Draw phases as vessels on an axis of temperature: the first is the main one, the others are poured into it.

    A phase that is hot is heated beside the main one and poured in hot; for a cooler one the main vessel cools first.
    The way from left to right is the order of the work, not its time.
    """
    hottest = max([vessel.temperature_c or ROOM_C for vessel in vessels] + [40.0])
    top, low = math.ceil((hottest + 5) / 20) * 20, 0.0

    def y(celsius: float) -> float:
        return round(24 + HEIGHT * (top - celsius) / (top - low), 1)

    shapes = []
    for step in range(int(low), int(top) + 1, 20):
        shapes += [Shape("line", 0.1, y(step), 1.0, y(step), "grid")]
        shapes += [Shape("text", 0.09, y(step) + 4, look="tick", words=f"{step} °C", anchor="end")]
    wide = 0.86 / sum(_lengths(vessels))
    x, now = 0.12, ROOM_C
    for place, vessel in enumerate(vessels):
        wanted = vessel.temperature_c if vessel.temperature_c is not None else now
        label = f"{vessel.letter} {vessel.name}".strip()
        words = f"phase {label}, {vessel.percent:.3g} %, {wanted:g} °C"
        if place == 0:
            shapes.append(Shape("line", x, y(now), x + wide, y(wanted), "main", words))
            shapes.append(Shape("text", x + 0.01, y(now) + 16, look="strong", words=vessel.letter))
            x, now = x + wide, wanted
            continue
        if wanted >= HOT_C:
            shapes.append(Shape("line", x - wide * 0.8, y(ROOM_C) + 4, x, y(wanted) + 4, "side", words))
            shapes.append(Shape("text", x - wide * 0.8, y(ROOM_C) + 20, look="strong", words=vessel.letter))
            shapes.append(Shape("line", x, y(wanted) + 4, x + 0.02, y(now), "side"))
        elif now > wanted:
            shapes.append(Shape("line", x, y(now), x + wide * 0.7, y(wanted), "main"))
            x, now = x + wide * 0.7, wanted
            shapes.append(Shape("line", x - 0.02, y(now) + 30, x, y(now), "side", words))
            shapes.append(Shape("text", x - 0.02, y(now) + 44, look="strong", words=vessel.letter, anchor="middle"))
        else:
            shapes.append(Shape("line", x - 0.02, y(now) + 30, x, y(now), "side", words))
            shapes.append(Shape("text", x - 0.02, y(now) + 44, look="strong", words=vessel.letter, anchor="middle"))
        shapes.append(Shape("circle", x, y(now), 0, 5, "pour", f"{label} goes into the vessel at {now:g} °C"))
        shapes.append(Shape("line", x, y(now), x + wide * 0.3, y(now), "main"))
        x += wide * 0.3
    said = "; ".join(f"{v.letter} {v.name} {v.percent:.3g} %" for v in vessels)
    return Drawing("making", f"Process, phase by phase: {said}", 24 + HEIGHT + 40, tuple(shapes))
