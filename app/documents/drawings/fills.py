"""The fill weights of a packing run, one beside the other, against the nominal content and what a unit may lack."""

from collections.abc import Sequence

from app.documents.drawings.shapes import Drawing, Shape

TALL, TOP, LINE = 150.0, 16.0, 14.0
# The words stand to the right of the weights, so that no mark lies on them.
ROOM = 0.68


def fill_weights(values: Sequence[float], nominal: float, limits: Sequence[float], unit: str) -> Drawing:
    """Draw fills in the order they were weighed, with their mean; a square lies below the first limit.

    Args:
        values: net fills, in the order they were weighed; at least one.
        nominal: the declared content, in the same unit.
        limits: the contents below which few or no unit may lie, falling; the second is drawn only where it matters.
        unit: ``g`` or ``ml``.
    """
    mean = sum(values) / len(values)
    shown = [limit for place, limit in enumerate(limits) if place == 0 or min(values) < limits[0]]
    marks = [*values, nominal, *shown]
    least, most = min(marks), max(marks)
    room = (most - least) or 1.0

    def y(value: float) -> float:
        return round(TOP + TALL - TALL * (value - least) / room, 1)

    lines = [(nominal, "wanted", f"nominal {nominal:g} {unit}"), (mean, "series", f"mean {mean:.2f} {unit}")]
    lines += [
        (limit, "window", f"{words} {limit:g} {unit}")
        for limit, words in zip(shown, ("limit", "none below"), strict=False)
    ]
    shapes, lowest = [], -LINE
    for value, look, words in sorted(lines, key=lambda line: -line[0]):
        lowest = max(y(value) + 4, lowest + LINE)
        shapes.append(Shape("line", 0.0, y(value), ROOM, y(value), look))
        shapes.append(Shape("text", ROOM + 0.02, lowest, look="tick", words=words))
    wide = ROOM / len(values)
    for place, value in enumerate(values):
        short = bool(limits) and value < limits[0]
        words = f"unit {place + 1}: {value:.2f} {unit}{', short' if short else ''}"
        kind, look = ("square", "out") if short else ("circle", "reading")
        shapes.append(Shape(kind, round(wide * (place + 0.5), 4), y(value), 0, 4, look, words))
    title = f"Fill of {len(values)} units against {nominal:g} {unit}: mean {mean:.2f} {unit}"
    return Drawing("fills", title, max(TOP + TALL, lowest) + 12, tuple(shapes))
