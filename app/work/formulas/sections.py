"""The sections under a formula that other areas add: each computes from the results and is drawn by a template.

An area calls :func:`add` once, when it is imported. ``compute`` gets the results of the draft and gives whatever its
template needs, or None to stay silent; the template finds it as ``section.content`` and the results as ``results``.
What a section has to read from the store beforehand, ``load`` reads; ``compute`` finds it in ``results.loaded``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy.orm import Session

if TYPE_CHECKING:
    from app.work.formulas.results import Results


@dataclass(frozen=True, slots=True)
class Section:
    """A section: a short name for its element, a heading, the template that draws it, and what computes it.

    ``load`` gets the session and the id of the formula.
    """

    name: str
    heading: str
    template: str
    compute: Callable[["Results"], Any | None]
    load: Callable[[Session, int], Any] | None = None


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


def load_all(session: Session, formula_id: int) -> dict[str, Any]:
    """Read what the sections need from the store, by their names."""
    return {name: one.load(session, formula_id) for name, one in _SECTIONS.items() if one.load is not None}


def shown(results: "Results") -> tuple[Shown, ...]:
    """Compute every section that has something to say."""
    found = (Shown(section, section.compute(results)) for section in _SECTIONS.values())
    return tuple(one for one in found if one.content is not None)
