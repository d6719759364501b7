"""What pH a formula will have, what holds it there, what the neutraliser does to it, and what that means."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from app.reference.acid_base import acid_base_table
from app.reference.neutralisers import neutralisers
from app.reference.preservatives import assess_mixture
from app.reference.thickeners import Thickener, thickener_of
from app.science.acid_base.advice import DoseAdvice, ask_dose
from app.science.acid_base.gel import GelState, companions, gel_notes
from app.science.acid_base.model import compile_model
from app.science.acid_base.prediction import predict
from app.science.acid_base.titration import POINTS, BufferShare, buffer_shares, curve_with_band
from app.science.acid_base.values import Adjuster, Mixture, Prediction
from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.preservation import Preservation
from app.work.ph.mixture import PhLine, choose_ph_line, mixture_of, ph_lines, without

LEAVE_ON = "leave-on"
MOST_SHARES = 4
LEAST_SHARE = 0.03
PAST_THE_FORMULA = 1.15
ACID, BASE = "Citric Acid", "Sodium Hydroxide"


@dataclass(frozen=True, slots=True)
class Gel:
    """A thickener of the formula at the pH of the formula."""

    thickener: Thickener
    percent: Decimal
    window: GelState
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Titration:
    """The curve of one adjuster, grams in the batch against pH.

    ``in_formula`` is what the formula has of it, grams; ``others`` are further lines of the formula that set a pH.
    """

    material: str
    adjuster: Adjuster
    advice: DoseAdvice
    in_formula: float
    own_line: bool
    others: tuple[PhLine, ...] = ()


@dataclass(frozen=True, slots=True)
class PhReport:
    """Everything about the pH of a formula. Without a prediction, ``why_not`` says why there is none."""

    target: Decimal | None
    prediction: Prediction | None
    why_not: str
    shares: tuple[BufferShare, ...]
    gels: tuple[Gel, ...]
    preservation: Preservation
    titration: Titration | None
    notes: tuple[str, ...]

    @property
    def off_target(self) -> float | None:
        """How far the target lies outside the predicted range, pH units; 0 inside, None where one is missing."""
        if self.target is None or self.prediction is None:
            return None
        low, high = self.prediction.ph.low, self.prediction.ph.high
        return max(low - float(self.target), float(self.target) - high, 0.0)


def ph_report(
    materials: Sequence[DosedMaterial],
    *,
    exposure: str,
    target: Decimal | None,
    batch_g: float,
    chosen: int | None = None,
) -> PhReport | None:
    """Return everything about the pH of a formula; None when nothing in it has to do with water.

    Args:
        materials: the formula.
        exposure: ``leave-on`` or ``rinse-off``.
        target: the pH that is wanted, if any.
        batch_g: the grams that are weighed, for the titration.
        chosen: place among the materials of the line that is to set the pH, where the maker picked one.
    """
    try:
        mixture, notes = mixture_of(materials)
    except Invalid as fault:
        return PhReport(target, None, fault.message, (), (), Preservation((), (), ()), None, ())
    prediction, why_not = None, ""
    try:
        prediction = predict(mixture)
    except Invalid as fault:
        why_not = fault.message
    shares = buffer_shares(compile_model(mixture)) if prediction else ()
    at = prediction.ph.value if prediction else None
    return PhReport(
        target=target,
        prediction=prediction,
        why_not=why_not,
        shares=tuple(share for share in shares if share.share >= LEAST_SHARE)[:MOST_SHARES],
        gels=_gels(mixture, at) if at is not None else (),
        preservation=assess_mixture(mixture, exposure == LEAVE_ON, at),
        titration=titration(materials, target, batch_g, chosen) if prediction and target is not None else None,
        notes=notes,
    )


def _gels(mixture: Mixture, ph: float) -> tuple[Gel, ...]:
    found = []
    for line in mixture.lines:
        thickener = thickener_of(line.substance.inci if line.substance else line.name)
        if thickener is not None and line.percent > 0:
            beside = companions(mixture.lines, ()) if thickener.charge == "anionic" else ()
            notes = (*gel_notes(thickener.window, ph), *(beside if thickener.salt_tolerance != "good" else ()))
            found.append(Gel(thickener, Decimal(str(line.percent)), thickener.window.at(ph), notes))
    return tuple(found)


def titration(
    materials: Sequence[DosedMaterial], target: Decimal | None, batch_g: float, chosen: int | None = None
) -> Titration | None:
    """Titrate the formula with the line that sets its pH, or with a usual solution when it has none."""
    if target is None:
        return None
    line = choose_ph_line(materials, target, chosen)
    try:
        if line is not None:
            return _with_own_line(materials, line, float(target), batch_g)
        mixture, _ = mixture_of(materials)
        adjuster, name = _usual(mixture, float(target))
        return Titration(name, adjuster, ask_dose(mixture, (adjuster,), float(target), batch_g), 0.0, own_line=False)
    except Invalid:
        return None


def _with_own_line(materials: Sequence[DosedMaterial], line: PhLine, target: float, batch_g: float) -> Titration:
    before_g = batch_g * float(100 - line.percent) / 100
    mixture, _ = mixture_of(without(materials, line))
    advice = ask_dose(mixture, (line.adjuster,), target, before_g)
    in_formula = batch_g * float(line.percent) / 100
    if in_formula > advice.curve[-1].grams:
        # Draw the curve as far as the formula goes, and a little further.
        doses = np.linspace(0.0, PAST_THE_FORMULA * in_formula / before_g, POINTS)
        curve_past = curve_with_band(compile_model(mixture, (line.adjuster,)), doses, before_g)
        advice = replace(advice, curve=curve_past)
    others = tuple(other for other in ph_lines(materials) if other.place != line.place)
    return Titration(line.material, line.adjuster, advice, in_formula, own_line=True, others=others)


def _usual(mixture: Mixture, target: float) -> tuple[Adjuster, str]:
    name = BASE if predict(mixture).ph.value < target else ACID
    found = acid_base_table().find(name)
    if found is None:
        raise Invalid("", f"{name} is missing from the tables.")
    strength = next(n.adjuster.strength_percent for n in neutralisers() if n.adjuster.substance.inci == name)
    return Adjuster(found.substance, strength), f"{name}, {strength:g} %"
