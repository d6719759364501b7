"""``compute declaration``: the ingredient list of a label."""

from decimal import Decimal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Percent, RequestModel, Text
from app.reference.allergens import declared_allergens
from app.reference.declaration_names import name_book
from app.science.composition import AllergenShare, DosedMaterial, Kind, Part
from app.science.declaration.listing import declare
from app.science.declaration.values import Group, Jurisdiction
from app.science.errors import Invalid
from app.science.formula import total_message
from app.science.rules.values import Exposure

SUMMARY = "the ingredient list of a label, EU or US, each entry with the rule that puts it where it stands"
# A formula that is over 100 by more than a rounding is no formula.
MOST_TOTAL = Decimal(101)


class RequestAllergen(RequestModel):
    """A fragrance allergen inside a part; ``percent`` is % w/w of that part."""

    inci: Text
    percent: Percent


class RequestPart(RequestModel):
    """A substance of a material; ``percent`` is % w/w of the material."""

    inci: Text
    percent: Percent
    kind: Kind = Kind.INGREDIENT
    nano: bool = False
    cas: str | None = Field(default=None, max_length=40)
    may_contain: bool = False
    allergens: list[RequestAllergen] = Field(default=[], max_length=1000)


class RequestMaterial(RequestModel):
    """A material; ``percent`` is % w/w of the finished formula."""

    name: Text
    percent: Percent
    composition: list[RequestPart] = Field(min_length=1, max_length=1000)


class Request(RequestModel):
    """A formula by materials, and the label it is for."""

    jurisdiction: Jurisdiction
    exposure: Exposure
    materials: list[RequestMaterial] = Field(min_length=1, max_length=10_000)


class AnswerEntry(AnswerModel):
    """A name of the list, with the rule that puts it there."""

    name: str
    percent: Figure
    group: Group
    rule: str


class Answer(AnswerModel):
    """The list as one line of text, its entries in printed order, and what to look at before printing."""

    text: str
    entries: list[AnswerEntry]
    warnings: list[str]


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: when a composition or the formula adds up to more than a whole, or nothing is above 0 %.
    """
    materials = [_material(material) for material in request.materials]
    _check_total(materials)
    allergens = declared_allergens(materials, request.exposure, request.jurisdiction)
    found = declare(materials, request.jurisdiction, name_book(), allergens)
    entries = [AnswerEntry(name=e.name, percent=e.percent, group=e.group, rule=e.rule) for e in found.entries]
    return Answer(text=found.text, entries=entries, warnings=list(found.warnings))


def _material(material: RequestMaterial) -> DosedMaterial:
    return DosedMaterial(material.name, material.percent, tuple(_part(part) for part in material.composition))


def _part(part: RequestPart) -> Part:
    allergens = tuple(AllergenShare(allergen.inci, allergen.percent) for allergen in part.allergens)
    return Part(part.inci, part.percent, part.kind, part.nano, part.cas, part.may_contain, allergens)


def _check_total(materials: list[DosedMaterial]) -> None:
    always = (m.percent for m in materials if any(not part.may_contain for part in m.parts))
    total = sum(always, Decimal(0))
    if total > MOST_TOTAL:
        raise Invalid("materials", total_message(total))
