"""Materials as weighed, the substances inside them, and the expansion of the one into the other."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from app.science.names import inci_key


class PartKind(StrEnum):
    """What a substance is in the formula for; decides where the label puts it."""

    INGREDIENT = "ingredient"
    COLOURANT = "colourant"
    PERFUME = "perfume"
    FLAVOUR = "flavour"
    INCIDENTAL = "incidental"


@dataclass(frozen=True, slots=True)
class AllergenShare:
    """A named fragrance allergen inside a part; ``percent`` is % w/w of that part (0..100)."""

    inci: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Part:
    """One substance of a material; ``percent`` is % w/w of the material (0..100).

    ``low`` and ``high`` are the limits of the supplier's range in the same unit, when one was given.
    """

    inci: str
    percent: Decimal
    kind: PartKind = PartKind.INGREDIENT
    nano: bool = False
    cas: str | None = None
    may_contain: bool = False
    allergens: tuple[AllergenShare, ...] = ()
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True, slots=True)
class DosedMaterial:
    """A material at its place in a formula; ``percent`` is % w/w of the finished formula (0..100)."""

    name: str
    percent: Decimal
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Contribution:
    """How much of a substance one material brings, % w/w of the finished formula."""

    material: str
    percent: Decimal
    part: Part


@dataclass(frozen=True, slots=True)
class SubstanceTotal:
    """A substance summed over every material that brings it, % w/w of the finished formula."""

    inci: str
    percent: Decimal
    contributions: tuple[Contribution, ...] = field(default=())


def expand(materials: Iterable[DosedMaterial]) -> tuple[SubstanceTotal, ...]:
    """Sum the formula by substance (INCI name, any case), in the order the names first appear.

    Exact decimals throughout; nothing is rounded. Names keep the spelling met first.
    """
    found: dict[str, list[Contribution]] = {}
    for material in materials:
        for part in material.parts:
            share = material.percent * part.percent / 100
            found.setdefault(inci_key(part.inci), []).append(Contribution(material.name, share, part))
    return tuple(
        SubstanceTotal(c[0].part.inci, sum((x.percent for x in c), Decimal(0)), tuple(c)) for c in found.values()
    )
