"""The values of a declaration."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Group(StrEnum):
    """The part of the list in which an entry stands."""

    MAIN = "main"
    BELOW_LINE = "below-line"
    COLOURANT = "colourant"
    MAY_CONTAIN = "may-contain"


class Role(StrEnum):
    """What a part of a material does on the label; one substance can have two roles and so two entries."""

    INGREDIENT = "ingredient"
    PERFUME = "perfume"
    FLAVOUR = "flavour"
    COLOUR = "colour"
    SHADE = "shade"


@dataclass(frozen=True, slots=True)
class Entry:
    """One name of the list; ``percent`` is % w/w of the finished formula, ``rule`` says why it stands here."""

    name: str
    percent: Decimal
    group: Group
    rule: str


@dataclass(frozen=True, slots=True)
class Declaration:
    """The list as one line of clean text, its entries in printed order, and what to look at before printing."""

    text: str
    entries: tuple[Entry, ...]
    warnings: tuple[str, ...]
