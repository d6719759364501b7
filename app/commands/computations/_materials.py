"""Materials as the contract writes them: a name, a percentage, and what the material is made of."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Annotated

from pydantic import Field

from app.commands.computations._base import Flag, Percent, RequestModel, Text
from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.errors import Invalid

# Data sheets round their percentages; a composition may overshoot by as much as that, and no more.
ROUNDING_PERCENT = Decimal("0.5")


class AllergenItem(RequestModel):
    """A fragrance allergen inside a part, % w/w of that part."""

    inci: Text
    percent: Percent


class PartItem(RequestModel):
    """A substance of a material, % w/w of the material."""

    inci: Text
    percent: Percent
    kind: PartKind = PartKind.INGREDIENT
    nano: Flag = False
    cas: str | None = Field(default=None, max_length=40)
    may_contain: Flag = False
    allergens: list[AllergenItem] = Field(default_factory=list, max_length=1000)


class MaterialItem(RequestModel):
    """A material at its place in the formula, % w/w of the finished formula."""

    name: Text
    percent: Percent
    composition: list[PartItem] = Field(min_length=1, max_length=1000)


Materials = Annotated[list[MaterialItem], Field(min_length=1, max_length=10_000)]


def dosed(materials: Iterable[MaterialItem]) -> tuple[DosedMaterial, ...]:
    """Translate materials into the values science works on.

    Raises:
        Invalid: when a composition, or the whole formula, adds up to more than 100 %.
    """
    items = tuple(materials)
    for n, item in enumerate(items):
        _at_most_all((part.percent for part in item.composition if not part.may_contain), f"materials[{n}].composition")
    _at_most_all((item.percent for item in items), "materials")
    return tuple(map(dosed_material, items))


def dosed_material(item: MaterialItem) -> DosedMaterial:
    """Translate one material into the value science works on."""
    return DosedMaterial(item.name, item.percent, tuple(map(_part, item.composition)))


def _at_most_all(percents: Iterable[Decimal], field: str) -> None:
    total = sum(percents, Decimal(0))
    if total > 100 + ROUNDING_PERCENT:
        raise Invalid(field, f"the percentages add up to {total.normalize():f}, which is more than 100")


def _part(item: PartItem) -> Part:
    shares = tuple(AllergenShare(a.inci, a.percent) for a in item.allergens)
    return Part(item.inci, item.percent, item.kind, item.nano, item.cas, item.may_contain, shares)
