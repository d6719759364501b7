"""The titration: grams of the adjuster against pH, with target, band, windows and readings."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.drawings.ruler import KINDS, Window
from app.documents.drawings.shapes import EDGE, Drawing, Shape
from app.science.acid_base.titration import CurvePoint

HEIGHT, TOP, BOTTOM = 300.0, 32.0, 42.0
STEPS = (1.0, 2.0, 5.0)
BAR = 0.02  # the breadth of a window along the edge
EVERY = 8  # of the points of a curve, so many are marked with their values


@dataclass(frozen=True, slots=True)
class PlottedReading:
    """A pH at so many grams; ``words`` stand beside it, where it has any."""

    grams: float
    ph: float
    words: str = ""


@dataclass(frozen=True, slots=True)
class _Frame:
    most_g: float
    low_ph: float
    high_ph: float

    def x(self, grams: float) -> float:
        return round(EDGE + (1 - 2 * EDGE) * grams / self.most_g, 5)

    def y(self, ph: float) -> float:
        share = (self.high_ph - min(max(ph, self.low_ph), self.high_ph)) / (self.high_ph - self.low_ph)
        return round(TOP + (HEIGHT - TOP - BOTTOM) * share, 2)

    def points(self, found: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((self.x(grams), self.y(ph)) for grams, ph in found)


def titration(
    material: str,
    curve: Sequence[CurvePoint],
    target: float | None,
    windows: Sequence[Window] = (),
    readings: Sequence[PlottedReading] = (),
    fitted: Sequence[CurvePoint] = (),
    *,
    name: str = "titration",
) -> Drawing:
    """Draw the curve of a titration with its band.

    Args:
        material: what is added.
        curve: the predicted curve, not empty, by rising grams.
        target: the pH that is aimed at.
        windows: ranges of pH, clipped to what is drawn.
        readings: what was read, or where the formula stands.
        fitted: a second curve, fitted to the readings.
        name: names the parts of the drawing on a page that holds several.

    Raises:
        ValueError: when the curve has no points.
    """
    frame = _frame(curve, target, readings, fitted)
    upper = [(p.grams, p.high) for p in curve]
    lower = [(p.grams, p.low) for p in reversed(curve)]
    shapes = _axes(material, frame)
    shapes.append(Shape("area", 0, 0, look="band", points=frame.points([*upper, *lower])))
    if target is not None:
        words = f"target {target:g}"
        shapes.append(Shape("line", EDGE, frame.y(target), 1 - EDGE, frame.y(target), "wanted", words))
        shapes.append(Shape("text", 0.12, frame.y(target) - 5, look="strong", words=words))
    shapes.append(Shape("path", 0, 0, look="curve", points=frame.points([(p.grams, p.ph) for p in curve])))
    if fitted:
        shapes.append(Shape("path", 0, 0, look="fitted", points=frame.points([(p.grams, p.ph) for p in fitted])))
    shapes += _windows(windows, frame)
    for point in (*curve[::EVERY], *fitted[::EVERY]):
        words = f"{point.grams:.3g} g: pH {point.ph:.2f} ({point.low:.1f} to {point.high:.1f})"
        shapes.append(Shape("circle", frame.x(point.grams), frame.y(point.ph), y2=2.5, look="point", words=words))
    for reading in readings:
        shapes += _marked(reading, frame)
    return Drawing(name, f"Grams of {material} against pH, with the range of the prediction", HEIGHT, tuple(shapes))


def _marked(reading: PlottedReading, frame: _Frame) -> list[Shape]:
    x, y = frame.x(reading.grams), frame.y(reading.ph)
    words = f"{reading.words or 'read'}: pH {reading.ph:.2f} at {reading.grams:.3g} g"
    shapes = [Shape("circle", x, y, y2=4.5, look="reading", words=words)]
    if reading.words:
        right = x < 0.6
        side = "start" if right else "end"
        shapes.append(Shape("text", x + (0.02 if right else -0.02), y + 18, words=reading.words, anchor=side))
    return shapes


def _frame(
    curve: Sequence[CurvePoint], target: float | None, readings: Sequence[PlottedReading], fitted: Sequence[CurvePoint]
) -> _Frame:
    grams = [p.grams for p in (*curve, *fitted)] + [one.grams for one in readings]
    phs = [p.low for p in curve] + [p.high for p in curve] + [p.ph for p in fitted] + [one.ph for one in readings]
    if target is not None:
        phs.append(target)
    return _Frame(max(*grams, 1e-9), math.floor(min(phs)), math.ceil(max(phs) + 0.01))


def _axes(material: str, frame: _Frame) -> list[Shape]:
    foot = HEIGHT - BOTTOM
    shapes = [
        Shape("text", EDGE, 11, look="strong", words="pH"),
        Shape("text", 1 - EDGE, HEIGHT - 4, look="strong", words=f"g of {material}", anchor="end"),
    ]
    for ph in ticks(frame.low_ph, frame.high_ph):
        y = frame.y(ph)
        shapes.append(Shape("line", EDGE, y, 1 - EDGE, y, "axis" if y == foot else "grid"))
        shapes.append(Shape("text", EDGE, y - 3, look="tick", words=f"{ph:g}"))
    for grams in ticks(0.0, frame.most_g, 5):
        x = frame.x(grams)
        anchor = "start" if x < 0.05 else "end" if x > 0.95 else "middle"
        shapes.append(Shape("line", x, foot, x, foot + 5, "axis"))
        shapes.append(Shape("text", x, foot + 18, look="tick", words=f"{grams:g}", anchor=anchor))
    return shapes


def _windows(windows: Sequence[Window], frame: _Frame) -> list[Shape]:
    """Return each window as a bar along the right edge, so that none lies over the curve."""
    shapes = []
    for row, window in enumerate(windows):
        top, foot = frame.y(window.high), frame.y(window.low)
        words = f"{window.words}: pH {window.low:g} to {window.high:g}"
        right = 1 - EDGE - 1.5 * BAR * row
        shapes.append(Shape("rect", right - BAR, top, right, foot, "window", words, pattern=KINDS[window.kind]))
        y = HEIGHT - BOTTOM - 6 - 16 * row
        shapes.append(Shape("text", 1 - EDGE - 1.5 * BAR * len(windows), y, words=words, anchor="end"))
    return shapes


def ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Choose round numbers between two limits for an axis.

    >>> ticks(0.0, 10.0)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next((s * power for s in STEPS if s * power >= raw), 10.0 * power)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(n * step, 10) for n in range(first, last + 1)]
