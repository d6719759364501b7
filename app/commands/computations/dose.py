"""``dose``: how much of a solution brings a batch to a pH, and what is left to add after readings."""

from decimal import Decimal
from typing import Any

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from app.commands.computations._base import (
    AnswerModel,
    Measured,
    NonNegative,
    Number,
    Percent,
    Positive,
    RequestModel,
    Text,
)
from app.commands.computations._mixture import MixtureRequest, require_watery, tidy
from app.reference.mixtures import build_adjuster
from app.reference.neutralisers import counter_adjuster
from app.science.acid_base.advice import ask_dose
from app.science.acid_base.dosing import LARGEST_DOSE
from app.science.errors import Invalid

SUMMARY = "Work out the dose of an acid or base that brings a batch to a target pH; learn from readings."
MOST_READINGS = 100
EMPTY_WHEN_UNREACHABLE = ("grams", "low_grams", "high_grams", "first_addition_g", "percent_of_batch")


class AdjusterModel(RequestModel):
    """The solution that is added: INCI name, strength in % w/w (the rest water), and the hydrate that was weighed."""

    inci: Text
    strength_percent: Percent
    hydrate: str | None = Field(default=None, max_length=40)


class ReadingModel(RequestModel):
    """Grams of adjuster added so far in all, and the pH the meter showed then."""

    added_g: NonNegative
    ph: Number


class Request(MixtureRequest):
    """A batch, a target, a solution and the readings so far."""

    target_ph: Number
    adjuster: AdjusterModel
    batch_g: Positive
    readings: list[ReadingModel] = Field(default=[], max_length=MOST_READINGS)


class Point(AnswerModel):
    """One dose with the pH it leads to."""

    grams: Measured
    ph: Measured


class Answer(AnswerModel):
    """The dose in grams of solution for the whole batch; null where the target cannot be reached.

    A reading that cannot well be leaves nothing to add at once, and no ``remaining_g``, until a second one at the same
    grams stands beside it.
    """

    grams: Measured | None
    low_grams: Measured | None
    high_grams: Measured | None
    first_addition_g: Measured | None
    percent_of_batch: Measured | None
    reachable: bool
    remaining_g: Measured | None = None
    curve: list[Point]
    cautions: list[str]
    notes: list[str]

    @model_serializer(mode="wrap")
    def _keep_nulls(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Write the keys of an unreachable dose as null, whatever the caller leaves out."""
        written = dict(handler(self))
        missing = dict.fromkeys(EMPTY_WHEN_UNREACHABLE, None) if not self.reachable else {}
        return missing | written


def compute(request: Request) -> Answer:
    """Plan the dose.

    Raises:
        Invalid: naming the field.
    """
    if not 0 <= request.target_ph <= 14:
        raise Invalid("target_ph", "the target must lie between pH 0 and 14")
    for index, reading in enumerate(request.readings):
        if not 0 <= reading.ph <= 14:
            raise Invalid(f"readings[{index}].ph", "a reading must lie between pH 0 and 14")
        if reading.added_g > Decimal(LARGEST_DOSE) * request.batch_g:
            message = f"that is more than {LARGEST_DOSE:g} times the batch; the model ends there"
            raise Invalid(f"readings[{index}].added_g", message)
    built = request.build()
    require_watery(built.mixture)
    adjuster, notes = build_adjuster(
        request.adjuster.inci, request.adjuster.strength_percent, hydrate=request.adjuster.hydrate
    )
    readings = [(float(r.added_g), float(r.ph)) for r in request.readings]
    adjusters = (adjuster, counter_adjuster(adjuster.substance))
    advice = ask_dose(built.mixture, adjusters, float(request.target_ph), float(request.batch_g), readings)
    reached = advice.grams is not None
    return Answer(
        grams=_grams(advice.grams),
        low_grams=_grams(advice.low_grams),
        high_grams=_grams(advice.high_grams),
        first_addition_g=_grams(advice.first_addition_g),
        percent_of_batch=tidy(100.0 * advice.grams / float(request.batch_g)) if advice.grams is not None else None,
        reachable=reached,
        remaining_g=_grams(advice.remaining_g),
        curve=[Point(grams=tidy(p.grams), ph=round(p.ph, 4)) for p in advice.curve],
        cautions=list(advice.cautions),
        notes=list(dict.fromkeys([*built.notes, *notes, *advice.notes])),
    )


def _grams(value: float | None) -> float | None:
    return None if value is None else tidy(value)
