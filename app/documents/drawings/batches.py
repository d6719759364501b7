"""Batch beside batch: the same figures of each, with their windows."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.drawings.shapes import Drawing, Shape


@dataclass(frozen=True, slots=True)
class BatchFigure:
    """One figure of one batch; ``is_out`` when it lies outside its window, None where nothing was measured."""

    batch: str
    value: float | None
    is_out: bool = False


@dataclass(frozen=True, slots=True)
class Series:
    """One figure across batches, with its window (low, high), either end None where there is none.

    ``digits`` is how many significant figures it is written with.
    """

    words: str
    unit: str
    points: tuple[BatchFigure, ...]
    low: float | None = None
    high: float | None = None
    digits: int = 3


BAND = 84.0


def batch_beside_batch(series: Sequence[Series]) -> Drawing:
    """Draw figures of batches side by side, each in a band of its own; a square is out of its window."""
    shapes = []
    for row, one in enumerate(series):
        top = 8 + BAND * row
        heading = f"{one.words},{one.unit}" if one.unit else one.words
        shapes.append(Shape("text", 0.0, top + 11, look="strong", words=heading))
        known = [p.value for p in one.points if p.value is not None]
        edges = [edge for edge in (one.low, one.high) if edge is not None]
        if not known:
            shapes.append(Shape("text", 0.0, top + 40, look="tick", words="nothing measured yet"))
            continue
        least, most = min(known + edges), max(known + edges)
        room = (most - least) or 1.0

        def y(value: float, least: float = least, room: float = room, top: float = top) -> float:
            return round(top + 66 - 40 * (value - least) / room, 1)

        if one.low is not None or one.high is not None:
            high, low = one.high if one.high is not None else most, one.low if one.low is not None else least
            shapes.append(Shape("rect", 0.0, y(high), 1.0, max(y(low), y(high) + 1), "window", pattern="dots"))
        wide = 1.0 / len(one.points)
        before: tuple[float, float] | None = None
        for place, point in enumerate(one.points):
            if point.value is None:
                continue
            x = round(wide * (place + 0.5), 4)
            if before:
                shapes.append(Shape("line", before[0], before[1], x, y(point.value), "series"))
            before = (x, y(point.value))
            figure = f"{point.value:.{one.digits}g}"
            words = f"{point.batch}: {one.words} {figure}{one.unit}{', out of its window' if point.is_out else ''}"
            kind = "square" if point.is_out else "circle"
            shapes.append(Shape(kind, x, y(point.value), 0, 4.5, "out" if point.is_out else "reading", words))
            shapes.append(Shape("text", x, y(point.value) - 8, look="tick", words=figure, anchor="middle"))
    return Drawing(
        "batches",
        "Batch beside batch: " + ", ".join(one.words for one in series),
        8 + BAND * len(series),
        tuple(shapes),
    )
