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
        sodium_mmol: mmol of sodium and potassium it brings to the batch, which thin an acid polymer's gel.
        ph_low, ph_high: where the pH may lie after this dose (about 90 % cover).
        cautions: for handling it.
    """

    neutraliser: Neutraliser
    advice: DoseAdvice
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
    if candidates is None:
        start = float(ph_after(compile_model(mixture), np.zeros((1, 0)))[0])
        role = "base" if target > start else "acid"
        candidates = [n for n in neutralisers() if n.role == role]
    found = []
    for each in candidates:
        advice, words = ask_dose(mixture, (each.adjuster,), target, batch_g), cautions(each.adjuster.substance)
        grams = advice.grams
        if grams is None:
            found.append(ComparedNeutraliser(each, advice, None, None, None, words))
            continue
        _, near = min((abs(point.grams - grams), n) for n, point in enumerate(advice.curve))
        after = advice.curve[near]
        found.append(ComparedNeutraliser(each, advice, alkali_mmol(each, grams), after.low, after.high, words))
    return tuple(found)


def alkali_mmol(neutraliser: Neutraliser, grams: float) -> float:
    """Return the mmol of sodium and potassium ions in ``grams`` of a solution."""
    substance: Solute = neutraliser.adjuster.substance
    per_mol = sum(n for ion, n in substance.ions if ion.name in {"Na+", "K+"})
    return 10.0 * grams * neutraliser.adjuster.strength_percent / substance.molar_mass * per_mol
