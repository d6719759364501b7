"""The sections under a formula that other areas add: each computes from the results and is drawn by a template.

An area calls :func:`add` once, when it is imported. ``compute`` gets the results of the draft and gives whatever its
template needs, or None to stay silent; the template finds it as ``section.content`` and the results as ``results``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from app.work.formulas.results import Results


@dataclass(frozen=True, slots=True)
class Section:
    """A section: a short name for its element, a heading, the template that draws it, and what computes it."""

    name: str
    heading: str
    template: str
    compute: Callable[["Results"], Any | None]


@dataclass(frozen=True, slots=True)
class Shown:
    """A section with what it has to say about one draft."""

    section: Section
    content: Any


_SECTIONS: dict[str, Section] = {}


def add(section: Section) -> None:
    """Add a section, or replace the one of the same name."""
    _SECTIONS[section.name] = section


def sections() -> tuple[Section, ...]:
    """List the sections in the order they were added."""
    return tuple(_SECTIONS.values())


def shown(results: "Results") -> tuple[Shown, ...]:
    """Compute every section that has something to say."""
    found = (Shown(section, section.compute(results)) for section in _SECTIONS.values())
    return tuple(one for one in found if one.content is not None)
