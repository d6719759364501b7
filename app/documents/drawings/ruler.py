"""The ruler of pH: windows, the prediction, the target and what was read."""

import math
from dataclasses import dataclass

from app.documents.drawings.shapes import EDGE, Drawing, Shape
from app.science.acid_base.values import Range
from app.science.acid_base.wording import in_words, range_in_words


@dataclass(frozen=True, slots=True)
class Window:
    """A range of pH in which something works: what it is and its kind, ``preservative``, ``gel`` or ``active``."""

    low: float
    high: float
    words: str
    kind: str


KINDS = {"preservative": "dots", "gel": "slant", "active": "rungs"}


@dataclass(frozen=True, slots=True)
class PhFacts:
    """What stands on the ruler of pH: windows, the prediction, what is wanted, what was read.

    ``readings`` are (pH, words) each.
    """

    windows: tuple[Window, ...] = ()
    predicted: Range | None = None
    wanted: float | None = None
    readings: tuple[tuple[float, str], ...] = ()

    def span(self) -> tuple[float, float]:
        """Return the whole pH units between which the ruler is drawn, four units or more."""
        points = [reading[0] for reading in self.readings]
        points += [] if self.predicted is None else [self.predicted.low, self.predicted.high]
        points += [] if self.wanted is None else [self.wanted]
        if not points:
            points = [edge for window in self.windows for edge in (window.low, window.high)] or [3.0, 9.0]
        low, high = math.floor(min(points) - 0.5), math.ceil(max(points) + 0.5)
        while high - low < 4:
            low, high = max(low - 1, 0), high + 1
        return float(low), float(high)


def _ph_scale(facts: PhFacts) -> tuple[float, float]:
    low, high = facts.span()
    return low, (1 - 2 * EDGE) / (high - low)


def small_ph_ruler(facts: PhFacts) -> Drawing:
    """Draw the ruler of the strip: one line of windows, the prediction, the target and the readings; 38 pixels high."""
    low, step = _ph_scale(facts)
    high = facts.span()[1]

    def x(ph: float) -> float:
        return round(EDGE + (min(max(ph, low), high) - low) * step, 4)

    shapes = [Shape("line", x(low), 22, x(high), 22, "axis")]
    for tick in range(int(low), int(high) + 1):
        shapes += [Shape("line", x(tick), 20, x(tick), 24, "axis")]
        shapes += [Shape("text", x(tick), 36, look="tick", words=str(tick), anchor="middle")]
    keeps = [window for window in facts.windows if window.kind == "preservative"]
    if keeps and (lowest := max(w.low for w in keeps)) < (highest := min(w.high for w in keeps)):
        shapes.append(Shape("rect", x(lowest), 3, x(highest), 8, "window", pattern="dots"))
    if facts.predicted is not None:
        left, right = x(facts.predicted.low), x(facts.predicted.high)
        shapes.append(Shape("rect", left, 12, max(right, left + 0.008), 22, "predicted"))
    if facts.wanted is not None:
        shapes.append(Shape("line", x(facts.wanted), 2, x(facts.wanted), 24, "wanted"))
    shapes += [Shape("circle", x(ph), 17, y2=3.5, look="reading") for ph, _ in facts.readings]
    return Drawing("ruler", _ruler_title(facts), 38, tuple(shapes))


def _ruler_title(facts: PhFacts) -> str:
    pieces = []
    if facts.predicted is not None:
        pieces.append(f"predicted {range_in_words(facts.predicted)}")
    if facts.wanted is not None:
        pieces.append(f"target {facts.wanted:g}")
    pieces += [f"read {words}" for _, words in facts.readings[:5]]
    pieces += [f"{window.words} {window.low:g} to {window.high:g}" for window in facts.windows]
    return f"pH: {'; '.join(pieces)}" if pieces else "pH: nothing known yet"


def ph_ruler(facts: PhFacts) -> Drawing:
    """Draw every window in a row of its own, then the prediction, every reading and the target across all."""
    low, step = _ph_scale(facts)
    high = facts.span()[1]

    def x(ph: float) -> float:
        return round(EDGE + (min(max(ph, low), high) - low) * step, 4)

    shapes: list[Shape] = []
    y = 16.0
    top = y
    for window in facts.windows:
        words = f"{window.words}: pH {window.low:g} to {window.high:g}"
        shapes.append(Shape("text", EDGE, y + 11, words=words))
        if window.high > low and window.low < high:
            bar = Shape(
                "rect", x(window.low), y + 16, x(window.high), y + 24, "window", words, pattern=KINDS[window.kind]
            )
            shapes.append(bar)
        y += 30
    if facts.predicted is not None:
        lowest, likely, highest = facts.predicted.low, facts.predicted.value, facts.predicted.high
        words = f"predicted {range_in_words(facts.predicted)}, likeliest {in_words(facts.predicted, False)}"
        shapes.append(Shape("text", EDGE, y + 11, words=words))
        shapes.append(Shape("rect", x(lowest), y + 15, max(x(highest), x(lowest) + 0.006), y + 26, "predicted", words))
        shapes.append(Shape("line", x(likely), y + 13, x(likely), y + 28, "likely"))
        y += 33
    if facts.readings:
        shapes.append(Shape("text", EDGE, y + 11, words="read at the bench"))
        shapes += [
            Shape("circle", x(ph), y + 21, y2=4.5, look="reading", words=f"read {words}")
            for ph, words in facts.readings
        ]
        y += 33
    axis = [Shape("line", x(low), y + 4, x(high), y + 4, "axis")]
    for tick in range(int(low), int(high) + 1):
        axis += [Shape("line", x(tick), top, x(tick), y + 4, "grid")]
        axis += [Shape("text", x(tick), y + 18, look="tick", words=str(tick), anchor="middle")]
    if facts.wanted is not None:
        side = "end" if x(facts.wanted) > 0.7 else "start"
        axis.append(Shape("line", x(facts.wanted), 4, x(facts.wanted), y + 4, "wanted", f"target {facts.wanted:g}"))
        shift = -0.01 if side == "end" else 0.01
        shapes.append(
            Shape("text", x(facts.wanted) + shift, 11, look="strong", words=f"target {facts.wanted:g}", anchor=side)
        )
    return Drawing("ph", _ruler_title(facts), y + 22, (*axis, *shapes))
