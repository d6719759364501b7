"""``keeping``: the last day of a batch, what sets it, and the mark of its label."""

import re
from datetime import date
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from app.commands.computations._base import AnswerModel, Id, RequestModel
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.keeping_time import Mark, keeping_time

SUMMARY = "The last day of a batch, what sets it, and the mark its label shows."
ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
Months = Annotated[int, Field(ge=1, le=240)]


def _day(value: Any) -> Any:
    """Take a day as ISO 8601 writes it and nothing else: a number of seconds is no day."""
    if not isinstance(value, str) or not ISO_DAY.fullmatch(value.strip()):
        raise ValueError("write a day as year-month-day, such as 2026-11-25")
    return value.strip()


Day = Annotated[date, BeforeValidator(_day), Field(ge=date(1900, 1, 1), le=date(9000, 1, 1))]


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
