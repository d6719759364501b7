"""The titration plot: grams of the adjuster against pH, with target, band and windows, as numbers for an SVG."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.science.acid_base.titration import CurvePoint

WIDTH, HEIGHT = 640.0, 360.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 12.0, 14.0, 40.0
STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis: where, and what it says."""

    at: float
    words: str


@dataclass(frozen=True, slots=True)
class Band:
    """A window of pH drawn across the plot: its upper edge, height, and what it is."""

    y: float
    height: float
    words: str
    kind: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A point with a word beside it."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True)
class Plot:
    """Everything a template needs to draw the plot; coordinates are those of the view box."""

    width: float
    height: float
    left: float
    bottom: float
    curve: str
    band: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    windows: tuple[Band, ...]
    target_y: float | None
    marks: tuple[Mark, ...]
    second_curve: str = ""


@dataclass(frozen=True, slots=True)
class _Frame:
    most_g: float
    low_ph: float
    high_ph: float

    def x(self, grams: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * grams / self.most_g, 2)

    def y(self, ph: float) -> float:
        share = (self.high_ph - min(max(ph, self.low_ph), self.high_ph)) / (self.high_ph - self.low_ph)
        return round(TOP + (HEIGHT - TOP - BOTTOM) * share, 2)


@dataclass(frozen=True, slots=True)
class WindowOfPh:
    """A window to draw: from which pH to which, what it is, and its kind (``gel`` or ``preservative``)."""

    low: float
    high: float
    words: str
    kind: str


def plot(
    curve: Sequence[CurvePoint],
    target: float | None,
    windows: Sequence[WindowOfPh] = (),
    marks: Sequence[tuple[float, float, str]] = (),
    second: Sequence[CurvePoint] = (),
) -> Plot:
    """Lay out the plot of a titration curve; ``marks`` are (grams, pH, words), ``second`` another curve.

    Raises:
        ValueError: when the curve has no points.
    """
    frame = _frame(curve, target, marks, second)
    return Plot(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        bottom=HEIGHT - BOTTOM,
        curve=_line([(p.grams, p.ph) for p in curve], frame),
        band=_outline(curve, frame),
        x_ticks=tuple(Tick(frame.x(g), f"{g:g}") for g in ticks(0.0, frame.most_g)),
        y_ticks=tuple(Tick(frame.y(ph), f"{ph:g}") for ph in ticks(frame.low_ph, frame.high_ph)),
        windows=tuple(_band(window, frame) for window in windows),
        target_y=None if target is None else frame.y(target),
        marks=tuple(Mark(frame.x(g), frame.y(ph), words) for g, ph, words in marks),
        second_curve=_line([(p.grams, p.ph) for p in second], frame) if second else "",
    )


def _frame(
    curve: Sequence[CurvePoint],
    target: float | None,
    marks: Sequence[tuple[float, float, str]],
    second: Sequence[CurvePoint],
) -> _Frame:
    grams = [p.grams for p in (*curve, *second)] + [g for g, _, _ in marks]
    phs = [p.low for p in curve] + [p.high for p in curve] + [p.ph for p in second] + [ph for _, ph, _ in marks]
    if target is not None:
        phs.append(target)
    return _Frame(max(*grams, 1e-9), math.floor(min(phs)), math.ceil(max(phs) + 0.01))


def _line(points: Sequence[tuple[float, float]], frame: _Frame) -> str:
    return "M" + "L".join(f"{frame.x(g)} {frame.y(ph)}" for g, ph in points)


def _outline(curve: Sequence[CurvePoint], frame: _Frame) -> str:
    upper = [(p.grams, p.high) for p in curve]
    lower = [(p.grams, p.low) for p in reversed(curve)]
    return _line([*upper, *lower], frame) + "Z"


def _band(window: WindowOfPh, frame: _Frame) -> Band:
    top, foot = frame.y(window.high), frame.y(window.low)
    return Band(top, max(foot - top, 0.0), window.words, window.kind)


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
