"""``ph``: the pH of a mixture as a range, with the species that make it."""

from typing import Any

from pydantic import SerializerFunctionWrapHandler, model_serializer

from app.commands.computations._base import AnswerModel, Measured
from app.commands.computations._mixture import MixtureRequest, require_watery, tidy
from app.science.acid_base.model import compile_model
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.validity import REFUSE_IONIC_STRENGTH

SUMMARY = "Predict the pH of a mixture as a range, with ionic strength, species and notes."
LEAST_MOLALITY = 1e-12


class Request(MixtureRequest):
    """A mixture whose pH is asked."""


class Species(AnswerModel):
    """One form in solution, mol per kg of water."""

    inci: str
    form: str
    mol_per_kg: Measured


class Answer(AnswerModel):
    """The predicted pH with its bounds (about 90 % cover); null where no number can honestly be given, see notes."""

    ph: Measured | None
    low: Measured | None
    high: Measured | None
    ionic_strength: Measured
    species: list[Species]
    notes: list[str]

    @model_serializer(mode="wrap")
    def _keep_nulls(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Write a pH that is not given as null, whatever the caller leaves out."""
        return dict.fromkeys(("ph", "low", "high")) | dict(handler(self))


def compute(request: Request) -> Answer:
    """Predict the pH.

    Raises:
        Invalid: naming the field, when there is no water or the mixture is outside the model.
    """
    built = request.build()
    require_watery(built.mixture)
    found = predict_model(compile_model(built.mixture))
    places = 1 if found.ionic_strength > REFUSE_IONIC_STRENGTH else 4
    known = not found.withheld
    withheld = [f"No pH is given: {found.withheld}."] if found.withheld else []
    return Answer(
        ph=round(found.ph.value, places) if known else None,
        low=round(found.ph.low, places) if known else None,
        high=round(found.ph.high, places) if known else None,
        ionic_strength=tidy(found.ionic_strength),
        species=[
            Species(inci=s.inci, form=s.form, mol_per_kg=tidy(s.molality))
            for s in found.species
            if s.molality > LEAST_MOLALITY
        ]
        if known
        else [],
        notes=[*withheld, *built.notes, *found.notes],
    )
