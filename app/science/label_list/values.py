"""What a printed list turns into once it is read."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Protocol


class Certainty(StrEnum):
    """How sure it is which substance a printed name means."""

    EXACT = "exact"
    SYNONYM = "synonym"
    SPELLING = "spelling"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Match:
    """The substance a printed text means: its key, its name as usually printed, and how sure that is."""

    key: str
    inci: str
    certainty: Certainty


class SubstanceNames(Protocol):
    """Knows substance names; the reader asks it and guesses nothing itself."""

    def find(self, text: str) -> Match | None:
        """Find a text that is a name or a synonym in any case; None when it is neither."""

    def guess(self, text: str) -> Match | None:
        """Find the name a text is a likely misspelling of; None when nothing is close."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the printed text between two separators, with its place in the text as pasted."""

    text: str
    start: int
    end: int
    may_contain: bool = False
    active: bool = False


@dataclass(frozen=True, slots=True)
class ReadName:
    """One name of the list.

    ``printed`` is the name as printed without marks and percentages, ``start`` and ``end`` its place in the pasted
    text, ``percent`` a percentage that was printed with it (% w/w), ``marks`` its footnote signs, ``blend`` the number
    of the '(and)' blend it was printed in, ``within`` the name in whose brackets it stood, ``again`` the places where
    it was printed once more. Unknown names have ``key`` made from what is printed.
    """

    printed: str
    key: str
    inci: str
    certainty: Certainty
    start: int
    end: int
    percent: Decimal | None = None
    nano: bool = False
    may_contain: bool = False
    active: bool = False
    marks: str = ""
    blend: int | None = None
    within: str | None = None
    again: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class ReadList:
    """The names in printed order, the footnotes, and what the reader wants to say about its reading."""

    names: tuple[ReadName, ...]
    footnotes: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def unknown(self) -> Sequence[ReadName]:
        """Return the names that no book knows."""
        return [name for name in self.names if name.certainty is Certainty.UNKNOWN]
