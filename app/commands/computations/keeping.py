"""``keeping``: the last day of a batch, what sets it, and the mark of its label."""

from datetime import date
from typing import Annotated

from pydantic import Field

from app.commands.computations._base import AnswerModel, Day, Id, RequestModel, Whole
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.keeping_time import Mark, keeping_time

SUMMARY = "The last day of a batch, what sets it, and the mark its label shows."
Months = Annotated[Whole, Field(ge=1, le=240)]


class LotModel(RequestModel):
    """A lot that went in, with its last day."""

    id: Id
    expires_on: Day


class Request(RequestModel):
    """A day of making, the formula's months, and the lots."""

    made_on: Day
    formula_months: Months | None = None
    lots: list[LotModel] = Field(default=[], max_length=1000)
    jurisdiction: Jurisdiction
    period_after_opening_months: Months | None = Field(default=None, description="as set by test and judgement")


class Answer(AnswerModel):
    """The last day, what sets it, and the mark."""

    use_by: date
    limited_by: str
    period_after_opening_months: int | None = None
    mark: Mark
    notes: list[str]


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: when neither months nor lots say how long it keeps.
    """
    lots: dict[str, date] = {}
    for lot in request.lots:
        lots[lot.id] = min(lot.expires_on, lots.get(lot.id, lot.expires_on))
    found = keeping_time(request.made_on, request.formula_months, lots)
    if found is None:
        raise Invalid("formula_months", "give the months the formula keeps, or the lots with their dates")
    notes = list(found.notes)
    if request.jurisdiction is Jurisdiction.US:
        notes.append("In the US no date is required on a cosmetic; what is printed must be true.")
    return Answer(
        use_by=found.use_by,
        limited_by=found.limited_by,
        period_after_opening_months=request.period_after_opening_months,
        mark=found.mark,
        notes=notes,
    )
