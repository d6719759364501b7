"""Titration curves with their band, and which materials hold the pH."""

from dataclasses import dataclass

import numpy as np

from app.science.acid_base.belief import Belief
from app.science.acid_base.charge_balance import LN10, Array, solve
from app.science.acid_base.dosing import LARGEST_DOSE, Dose
from app.science.acid_base.model import Model, dose_system
from app.science.acid_base.validity import model_half_width

POINTS = 121


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One dose (grams of adjuster for the whole batch) with the pH it leads to and its band (about 90 %)."""

    grams: float
    ph: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BufferShare:
    """How much of the buffer capacity a material gives: share 0..1, capacity in mol/kg of water per pH."""

    name: str
    share: float
    capacity: float


def useful_doses(dose: Dose, points: int = POINTS) -> Array:
    """Choose the doses worth drawing, grams per gram of batch: from 0 to well past the target."""
    if dose.value is None:
        return np.linspace(0.0, 0.2, points)
    top = max(1.6 * dose.value, 1.1 * min(dose.high or 0.0, 2.0 * dose.value))
    if dose.value == 0.0:
        top = 0.02
    return np.linspace(0.0, min(top, LARGEST_DOSE), points)


def curve_with_band(
    model: Model, doses: Array, batch_g: float, belief: Belief | None = None, which: int = 0
) -> tuple[CurvePoint, ...]:
    """Draw the titration curve with its band; ``doses`` in grams per gram of batch, shape (D,)."""
    believed = belief or Belief.prior(model)
    theta, offsets = believed.rows()
    table = np.zeros((len(doses) * theta.shape[0], len(model.adjusters)))
    table[:, which] = np.tile(doses, theta.shape[0])
    solved = solve(dose_system(model, np.repeat(theta, len(doses), axis=0), table))
    ph = solved.ph.reshape(theta.shape[0], -1) + offsets[:, None]
    strengths = solved.ionic_strength[: len(doses)]
    half = np.array([believed.model_share * model_half_width(float(i)) for i in strengths])
    low, high = _band(ph, half)
    grams = doses * batch_g
    return tuple(CurvePoint(*map(float, row)) for row in zip(grams, ph[0], low, high, strict=True))


def _band(ph: Array, half: Array) -> tuple[Array, Array]:
    moves = ph[1:].reshape(2, -1, ph.shape[1]) - ph[0]
    up = np.sqrt((np.maximum(moves.max(axis=0), 0.0) ** 2).sum(axis=0) + half**2)
    down = np.sqrt((np.minimum(moves.min(axis=0), 0.0) ** 2).sum(axis=0) + half**2)
    return ph[0] - down, ph[0] + up


def buffer_shares(model: Model) -> tuple[BufferShare, ...]:
    """Return which families, polymers and the water itself hold the pH of the formula, the strongest first.

    The capacity of a family is ln 10 times its molality times the variance of its charge.

    References:
        D. D. Van Slyke, J. Biol. Chem. 1922, 52, 525.
    """
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, len(model.adjusters))))
    solved = solve(system)
    mean = np.einsum("nfk,fk->nf", solved.shares, system.charges)
    square = np.einsum("nfk,fk->nf", solved.shares, system.charges**2)
    weak = LN10 * (system.totals * (square - mean**2))[0]
    ionised = solved.ionised[0]
    acid = LN10 * system.polymers[0] * ionised * (1.0 - ionised) / system.polymer_slope[0]
    total = float(solved.capacity[0])
    names = [f.name for f in model.columns.families] + [p.name for p in model.columns.polymers]
    parts = [*map(float, weak), *map(float, acid)]
    found = [BufferShare(n, c / total, c) for n, c in zip(names, parts, strict=True)]
    found.append(BufferShare("Water", 1.0 - sum(parts) / total, total - sum(parts)))
    return tuple(sorted(found, key=lambda share: -share.capacity))
