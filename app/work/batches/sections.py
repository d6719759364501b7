"""The sections of the batch page that other areas add: each loads its values and is drawn by its template.

An area calls :func:`add` once, when it is imported. ``load`` reads what the template needs inside the one session of
the page, or gives None to stay silent; the template finds it as ``section.content`` and the batch as ``batch``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.store.batches import Batch


@dataclass(frozen=True, slots=True)
class Section:
    """A section: a short name for its element, a heading, its template, what loads it, its style sheets in static."""

    name: str
    heading: str
    template: str
    load: Callable[[Session, Batch], Any | None]
    styles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """A section with what it has to say about one batch."""

    section: Section
    content: Any


@dataclass(frozen=True, slots=True)
class Link:
    """A link at the head of the page to a paper of another area: its words, and its path with ``{batch_id}`` in it."""

    words: str
    path: str


_SECTIONS: dict[str, Section] = {}
_LINKS: dict[str, Link] = {}


def add_link(link: Link) -> None:
    """Add a link to a PDF, or replace the one of the same words."""
    _LINKS[link.words] = link


def links(batch: Batch) -> tuple[Link, ...]:
    """Return the links of the other areas for a batch."""
    return tuple(Link(link.words, link.path.format(batch_id=batch.id)) for link in _LINKS.values())


def add(section: Section) -> None:
    """Add a section, or replace the one of the same name."""
    _SECTIONS[section.name] = section


def shown(session: Session, batch: Batch) -> tuple[Shown, ...]:
    """Return every section that has something to say about a batch, in the order they were added."""
    found = (Shown(section, section.load(session, batch)) for section in _SECTIONS.values())
    return tuple(one for one in found if one.content is not None)
