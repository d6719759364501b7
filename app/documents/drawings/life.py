"""The life of a formula: versions, batches, branches."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.drawings.shapes import Drawing, Shape


@dataclass(frozen=True, slots=True)
class Knot:
    """A version in the life of a formula: its number, what it is about, its batches (number, state), its branches."""

    number: int
    words: str
    batches: tuple[tuple[str, str], ...] = ()
    branches: tuple[str, ...] = ()


KNOT, LEAF = 26.0, 18.0
STATES = {"released": "released", "rejected": "rejected"}


def life(knots: Sequence[Knot], *, has_draft: bool) -> Drawing:
    """Draw the versions of a formula as knots from the first down, their batches and branches hanging on them."""
    shapes, y = [], 14.0
    top = y
    for knot in knots:
        words = f"version {knot.number}{': ' if knot.words else ''}{knot.words}"
        shapes.append(Shape("circle", 0.04, y, 0, 9, "knot", words))
        shapes.append(Shape("text", 0.04, y + 4, look="strong", words=str(knot.number), anchor="middle"))
        shapes.append(Shape("text", 0.1, y + 4, words=_short(knot.words or "no note")))
        y += KNOT
        for number, state in knot.batches:
            shapes.append(Shape("line", 0.04, y - 4, 0.1, y - 4, "twig"))
            shapes.append(
                Shape("square", 0.11, y - 4, look=STATES.get(state, "open"), words=f"batch {number}, {state}")
            )
            shapes.append(Shape("text", 0.14, y, words=_short(f"{number}, {state}")))
            y += LEAF
        for name in knot.branches:
            shapes.append(Shape("line", 0.04, y - KNOT / 2, 0.1, y - 4, "branch", f"branched into {name}"))
            shapes.append(Shape("text", 0.11, y, look="tick", words=_short(f"branch: {name}")))
            y += LEAF
        y += 6
    if has_draft:
        shapes.append(Shape("circle", 0.04, y, 0, 7, "draft", "the draft"))
        shapes.append(Shape("text", 0.1, y + 4, look="tick", words="draft"))
        y += KNOT
    rail = Shape("line", 0.04, top, 0.04, max(y - KNOT, top), "rail")
    return Drawing("life", f"The life of the formula: {len(knots)} versions", y, (rail, *shapes))


def _short(words: str) -> str:
    return words if len(words) <= 40 else f"{words[:39].rstrip()}…"
