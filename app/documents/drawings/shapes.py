"""Drawings that pages and papers share, as shapes: across in parts of the width, down in pixels.

On a page the width stays open, so that words keep their size at any width; a paper gives its own. Every mark carries
what it says in words, for the pointer, for the keys and for readers. ``templates/_drawing.html`` draws them.
"""

from dataclasses import dataclass

EDGE = 0.02


@dataclass(frozen=True, slots=True)
class Shape:
    """One shape: ``x`` and ``x2`` in parts of the width (0 to 1), ``y`` and ``y2`` in pixels from the top.

    ``kind`` is ``rect``, ``line``, ``circle``, ``square``, ``text``, ``path`` or ``area``; ``look`` names its class;
    ``words`` are written for a text and said for a mark; ``pattern`` fills a rect; ``points`` are those of a path or of
    the outline of an area.
    """

    kind: str
    x: float
    y: float
    x2: float = 0.0
    y2: float = 0.0
    look: str = ""
    words: str = ""
    anchor: str = "start"
    pattern: str = ""
    points: tuple[tuple[float, float], ...] = ()

    def course(self, width: float) -> str:
        """Return the points as the course of an SVG path on so wide a drawing."""
        lines = "L".join(f"{x * width:.1f} {y:.1f}" for x, y in self.points)
        return f"M{lines}{'Z' if self.kind == 'area' else ''}"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing: a name for its parts, what it shows in a sentence, its height in pixels and its shapes."""

    name: str
    title: str
    height: float
    shapes: tuple[Shape, ...]

    @property
    def patterns(self) -> tuple[str, ...]:
        """The patterns it needs, by name."""
        return tuple(sorted({shape.pattern for shape in self.shapes if shape.pattern}))

    @property
    def marks(self) -> tuple[str, ...]:
        """What its marks say, in order, for the table beside it."""
        return tuple(dict.fromkeys(shape.words for shape in self.shapes if shape.words and shape.kind != "text"))
