"""The pH of a formula as a range: point estimate, uncertain inputs, and what the model cannot see."""

from dataclasses import replace

import numpy as np

from app.science.acid_base.air import uptake_of_carbon_dioxide
from app.science.acid_base.charge_balance import Array, Equilibrium, solve
from app.science.acid_base.inputs import COVERAGE
from app.science.acid_base.model import Model, compile_model, dose_system
from app.science.acid_base.validity import (
    METER,
    held_by,
    model_half_width,
    prediction_notes,
    solution_notes,
    why_withheld,
)
from app.science.acid_base.values import Influence, Mixture, Prediction, Range, SpeciesAmount
from app.science.errors import Invalid


def predict(mixture: Mixture) -> Prediction:
    """Predict the pH of a mixture, with its range.

    The range joins, as independent, the spread from every uncertain input at +-1.645 standard uncertainties and
    the half width of the model itself at this ionic strength; downwards also what carbon dioxide of the air does to a
    solution that stands open.

    Raises:
        Invalid: when there is no water, the temperature is out of range, or no number can honestly be given.
    """
    found = predict_model(compile_model(mixture))
    if found.withheld:
        raise Invalid("mixture", found.withheld)
    return found


def predict_model(model: Model) -> Prediction:
    """Predict the pH of a compiled formula, see ``predict``; ``withheld`` says why the number may not be shown."""
    theta = perturbations(len(model.inputs))
    system = dose_system(model, theta, np.zeros((theta.shape[0], len(model.adjusters))))
    solved = solve(system)
    strength = float(solved.ionic_strength[0])
    half = model_half_width(strength)
    spread = range_of(solved.ph, half)
    if not model.mixture.ideal:
        spread = _open_to_air(model, solved, spread)
    influences = rank_influences(model, solved.ph)
    species = list_species(model, system.totals[0], solved)
    capacity = float(solved.capacity[0])
    withheld = why_withheld(model, spread, influences)
    notes = prediction_notes(model, spread, strength, capacity, influences, species)
    if held_by(model.mixture, spread.value):  # what the balance says of its buffering is not so
        notes = (*solution_notes(model, strength), METER)
    return Prediction(spread, strength, species, influences, float(abs(solved.residual[0])), capacity, withheld, notes)


def _open_to_air(model: Model, solved: Equilibrium, spread: Range) -> Range:
    """Let the lower bound fall by what carbon dioxide of the air can do to the solution."""
    theta = np.zeros((1, len(model.inputs)))
    system = dose_system(model, theta, np.zeros((1, len(model.adjusters))))
    ph, strength = float(solved.ph[0]), float(solved.ionic_strength[0])
    taken = uptake_of_carbon_dioxide(system, ph, strength)
    aired = solve(replace(system, strong_charge=system.strong_charge - taken), ph, strength)
    fall = max(ph - float(aired.ph[0]), 0.0)
    return replace(spread, low=spread.value - float(np.hypot(spread.value - spread.low, fall)))


def perturbations(count: int) -> Array:
    """Return the standard scores of the rows to solve: none, each input up, each input down; (1 + 2 P, P)."""
    step = COVERAGE * np.eye(count)
    return np.vstack((np.zeros((1, count)), step, -step))


def range_of(values: Array, half: float = 0.0) -> Range:
    """Join ``values`` (1 + 2 P,), one of each row of ``perturbations``, into a range with about 90 % cover.

    Independent moves add by their squares (GUM, JCGM 100:2008, 5.1.2), upward and downward apart; ``half`` is one more
    half width in the unit of the values.
    """
    moves = values[1:].reshape(2, -1) - values[0]
    up = np.maximum(moves.max(axis=0, initial=0.0), 0.0)
    down = np.minimum(moves.min(axis=0, initial=0.0), 0.0)
    value = float(values[0])
    return Range(
        value, value - float(np.hypot(np.linalg.norm(down), half)), value + float(np.hypot(np.linalg.norm(up), half))
    )


def rank_influences(model: Model, ph: Array) -> tuple[Influence, ...]:
    """Return how far each input moves the pH, the strongest first."""
    moves = np.abs(ph[1:].reshape(2, -1) - ph[0]).max(axis=0, initial=0.0)
    found = [Influence(entry.name, float(move), entry.hidden) for entry, move in zip(model.inputs, moves, strict=True)]
    return tuple(sorted(found, key=lambda i: -i.ph_shift))


def list_species(model: Model, totals: Array, solved: Equilibrium) -> tuple[SpeciesAmount, ...]:
    """Return every form of every family, then the acid groups of polymers, then strong ions; mol per kg of water.

    ``totals`` are those of the F families, mol per kg of water, shape (F,).
    """
    found = []
    for column, family in enumerate(model.columns.families):
        for lost in range(len(family.pkas) + 1):
            share = float(solved.shares[0, column, lost] * totals[column])
            found.append(SpeciesAmount(family.name, form_name(family.charge, len(family.pkas), lost), share))
    groups = (model.parts.polymers / model.water_kg).sum(axis=0)
    for column, polymer in enumerate(model.columns.polymers):
        ionised = float(solved.ionised[0, column] * groups[column])
        found.append(SpeciesAmount(polymer.name, "COOH", float(groups[column]) - ionised))
        found.append(SpeciesAmount(polymer.name, "COO-", ionised))
    amounts: dict[str, float] = {}
    grams = model_grams(model)
    for substance in model.columns.substances:
        for ion, per_mol in substance.ions:
            moles = grams[substance.key] / substance.molar_mass * per_mol / model.water_kg
            amounts[ion.name] = amounts.get(ion.name, 0.0) + moles
    return tuple(found) + tuple(SpeciesAmount(name, name, amount) for name, amount in amounts.items())


def model_grams(model: Model) -> dict[str, float]:
    """Return the grams of each pure substance per gram of formula, by key."""
    grams: dict[str, float] = {}
    for line in model.mixture.lines:
        if line.substance is not None:
            share = line.percent * line.assay_percent / 1e4
            grams[line.substance.key] = grams.get(line.substance.key, 0.0) + share
    return grams


def form_name(charge: int, protons: int, lost: int) -> str:
    """Name the form of a family that has lost some protons: ``H3A``, ``H2A-``, ``HA-2``, ``A-3``, ``HA+``.

    A base is written as the same symbol A: ``HA+`` gives ``A``.
    """
    left = protons - lost
    z = charge - lost
    size = f"{abs(z)}" if abs(z) > 1 else ""
    sign = "" if z == 0 else f"{'+' if z > 0 else '-'}{size}"
    return f"{'H' if left else ''}{left if left > 1 else ''}A{sign}"
