"""The neutralisers side by side for one formula and one target pH."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.reference.neutralisers import Neutraliser, neutralisers
from app.science.acid_base.advice import DoseAdvice, ask_dose
from app.science.acid_base.cautions import cautions
from app.science.acid_base.dosing import ph_after
from app.science.acid_base.model import compile_model
from app.science.acid_base.values import Mixture, Solute


@dataclass(frozen=True, slots=True)
class ComparedNeutraliser:
    """One neutraliser for this formula.

    Attributes:
        neutraliser: the solution as bought, with its legal and label words.
        advice: the dose in grams as bought, its range, whether it reaches the target (``grams`` is None when not).
        percent_of_batch: grams as bought per 100 g of batch.
        sodium_mmol: mmol of sodium and potassium it brings to the batch, which thin an acid polymer's gel.
        ph_low, ph_high: where the pH may lie after this dose (about 90 % cover).
        cautions: for handling it.
    """

    neutraliser: Neutraliser
    advice: DoseAdvice
    percent_of_batch: float | None
    sodium_mmol: float | None
    ph_low: float | None
    ph_high: float | None
    cautions: tuple[str, ...]


def compare_neutralisers(
    mixture: Mixture, target: float, batch_g: float, candidates: Sequence[Neutraliser] | None = None
) -> tuple[ComparedNeutraliser, ...]:
    """Dose each neutraliser that moves this formula towards the target.

    Without candidates, the bases are compared when the target lies above the formula's own pH, the acids otherwise.

    Raises:
        Invalid: when there is no water, or the temperature is out of range.
    """
    chosen = _towards(mixture, target) if candidates is None else candidates
    return tuple(_compare(mixture, target, batch_g, each) for each in chosen)


def _towards(mixture: Mixture, target: float) -> tuple[Neutraliser, ...]:
    start = float(ph_after(compile_model(mixture), np.zeros((1, 0)))[0])
    role = "base" if target > start else "acid"
    return tuple(n for n in neutralisers() if n.role == role)


def _compare(mixture: Mixture, target: float, batch_g: float, each: Neutraliser) -> ComparedNeutraliser:
    advice = ask_dose(mixture, (each.adjuster,), target, batch_g)
    low, high = _ph_range(advice)
    return ComparedNeutraliser(
        neutraliser=each,
        advice=advice,
        percent_of_batch=None if advice.grams is None else 100.0 * advice.grams / batch_g,
        sodium_mmol=None if advice.grams is None else alkali_mmol(each, advice.grams),
        ph_low=low,
        ph_high=high,
        cautions=cautions(each.adjuster.substance),
    )


def _ph_range(advice: DoseAdvice) -> tuple[float | None, float | None]:
    if advice.grams is None:
        return None, None
    wanted = advice.grams
    point = min(advice.curve, key=lambda p: abs(p.grams - wanted))
    return point.low, point.high


def alkali_mmol(neutraliser: Neutraliser, grams: float) -> float:
    """Give the mmol of sodium and potassium ions in ``grams`` of a solution."""
    substance: Solute = neutraliser.adjuster.substance
    per_mol = sum(n for ion, n in substance.ions if ion.name in {"Na+", "K+"})
    return 10.0 * grams * neutraliser.adjuster.strength_percent / substance.molar_mass * per_mol
