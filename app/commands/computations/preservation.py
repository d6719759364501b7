"""``preservation``: what the preserving substances of a formula can do at its pH, and what is left open."""

from typing import Any, Literal

from pydantic import SerializerFunctionWrapHandler, model_serializer

from app.commands.computations._base import AnswerModel, Measured, Number
from app.commands.computations._mixture import MixtureRequest, tidy
from app.reference.preservatives import assess_mixture
from app.science.errors import Invalid

SUMMARY = "Check the preserving substances of a formula against its pH, and name what is not covered."


class Request(MixtureRequest):
    """A mixture, its pH when it was measured, and how it is used."""

    ph: Number | None = None
    exposure: Literal["leave-on", "rinse-off"]


class SystemModel(AnswerModel):
    """One preserving substance; ``active_percent`` counts the un-ionised acid where an acid acts."""

    inci: str
    percent: Measured
    active_percent: Measured
    undissociated_fraction: Measured | None
    ph_window: list[Measured]
    verdict: str
    why: str

    @model_serializer(mode="wrap")
    def _keep_null(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Write the fraction as null where ionisation is not how the substance works."""
        return {"undissociated_fraction": None} | dict(handler(self))


class Answer(AnswerModel):
    """The substances and what remains open."""

    systems: list[SystemModel]
    gaps: list[str]
    notes: list[str] | None = None


def compute(request: Request) -> Answer:
    """Check the preservation.

    Raises:
        Invalid: naming the field.
    """
    if request.ph is not None and not 0 <= request.ph <= 14:
        raise Invalid("ph", "the pH must lie between 0 and 14")
    built = request.build()
    ph = None if request.ph is None else float(request.ph)
    found = assess_mixture(built.mixture, request.exposure == "leave-on", ph)
    return Answer(
        systems=[
            SystemModel(
                inci=s.inci,
                percent=tidy(s.percent),
                active_percent=tidy(s.active_percent, 4),
                undissociated_fraction=None if s.undissociated_fraction is None else tidy(s.undissociated_fraction, 4),
                ph_window=list(s.ph_window),
                verdict=s.verdict.value,
                why=s.why,
            )
            for s in found.systems
        ],
        gaps=list(found.gaps),
        notes=list(built.notes) or None,
    )
