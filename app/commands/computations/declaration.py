"""``compute declaration``: the ingredient list of a label."""

from decimal import Decimal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Flag, RequestModel
from app.commands.computations._materials import Materials, dosed_material
from app.reference.allergens import declared_allergens
from app.reference.declaration_names import name_book
from app.reference.declaration_notices import declaration_notices, under_inci_names
from app.science.declaration.listing import declare
from app.science.declaration.values import Group
from app.science.errors import Invalid
from app.science.formula import total_message
from app.science.jurisdiction import Jurisdiction
from app.science.rules.values import Exposure

SUMMARY = "the ingredient list of a label, EU or US, each entry with the rule that puts it where it stands"
# A formula that is over 100 by more than a rounding is no formula.
MOST_TOTAL = Decimal(101)


class Request(RequestModel):
    """A formula by materials, and the label it is for."""

    jurisdiction: Jurisdiction
    exposure: Exposure
    materials: Materials
    hair_dye: Flag = Field(default=False, description="EU: colours of a hair dye stand in order of weight")
    bilingual: Flag = Field(default=False, description="the name of the other market follows in brackets")


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
    materials = [dosed_material(item) for item in request.materials]
    always = (m.percent for m in materials if any(not part.may_contain for part in m.parts))
    total = sum(always, Decimal(0))
    if total > MOST_TOTAL:
        raise Invalid("materials", total_message(total))
    named = under_inci_names(materials, request.jurisdiction)
    allergens = declared_allergens(named, request.exposure, request.jurisdiction)
    said = declaration_notices(materials, request.exposure, request.jurisdiction)
    found = declare(
        named,
        request.jurisdiction,
        name_book(),
        allergens,
        notices=said.at_names,
        hair_dye=request.hair_dye,
        bilingual=request.bilingual,
    )
    entries = [AnswerEntry(name=e.name, percent=e.percent, group=e.group, rule=e.rule) for e in found.entries]
    return Answer(text=found.text, entries=entries, warnings=[*said.lines, *found.warnings])
