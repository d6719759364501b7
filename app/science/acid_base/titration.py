"""Titration curves with their band, and which materials hold the pH."""

from dataclasses import dataclass

import numpy as np

from app.science.acid_base.belief import InputBelief
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


def useful_doses(dose: Dose) -> Array:
    """Return the doses worth drawing, grams per gram of batch: from 0 to well past the target."""
    if dose.value is None:
        return np.linspace(0.0, 0.2, POINTS)
    top = max(1.6 * dose.value, 1.1 * min(dose.high or 0.0, 2.0 * dose.value))
    if dose.value == 0.0:
        top = 0.02
    return np.linspace(0.0, min(top, LARGEST_DOSE), POINTS)


def curve_with_band(
    model: Model, doses: Array, batch_g: float, belief: InputBelief | None = None
) -> tuple[CurvePoint, ...]:
    """Return the titration curve of the first adjuster with its band (about 90 % cover).

    Near a jump of the curve the doubt lies in the grams, not in the pH: an edge of the band is therefore the curve of
    a whole variant of the inputs, the one that moves the pH there furthest for its probability (the first-order
    reliability point: all inputs moved together, each in proportion to its influence, by 1.645 standard uncertainties).
    Each such curve goes one way only, and so does the band.

    Args:
        model: the compiled formula with its adjusters.
        doses: grams of the adjuster per gram of batch, rising, shape (D,).
        batch_g: grams of the batch, for the grams of the points.
        belief: what is known of the inputs; before any reading the stated uncertainties.
    """
    believed = belief or InputBelief.prior(model)
    theta, offsets = believed.rows()
    count = len(doses)
    table = np.zeros((count, len(model.adjusters)))
    table[:, 0] = doses
    solved = solve(dose_system(model, np.repeat(theta, count, axis=0), np.tile(table, (theta.shape[0], 1))))
    ph = solved.ph.reshape(theta.shape[0], -1) + offsets[:, None]
    half = np.array([believed.model_share * model_half_width(float(i)) for i in solved.ionic_strength[:count]])
    steps = np.column_stack((theta, offsets))[1 : 1 + (theta.shape[0] - 1) // 2] - np.append(theta[0], offsets[0])
    rising = ph[0, -1] >= ph[0, 0]
    edges = []
    for sign in (-1.0, 1.0):
        # The move of the inputs that shifts each point furthest, from the moves of single steps.
        moves = sign * (ph[1:] - ph[0])
        up, down = moves.reshape(2, -1, moves.shape[1])
        size = np.maximum(np.maximum(up, down), 0.0)
        share = size * np.where(up >= down, 1.0, -1.0)
        length = np.sqrt((share**2).sum(axis=0))
        scores = np.append(theta[0], offsets[0]) + np.asarray(
            (share / np.where(length > 0, length, 1.0)).T @ steps, dtype=np.float64
        )
        moved = solve(dose_system(model, scores[:, :-1], table)).ph + scores[:, -1]
        edge = ph[0] + sign * np.hypot(np.maximum(sign * (moved - ph[0]), 0.0), half)
        # An edge goes the way of its curve only; what little turns back is taken as wider, not narrower.
        path = edge if rising else -edge
        widens_forwards = (sign > 0) == bool(rising)
        held = np.maximum.accumulate(path) if widens_forwards else np.minimum.accumulate(path[::-1])[::-1]
        edges.append(held if rising else -held)
    return tuple(CurvePoint(*map(float, row)) for row in zip(doses * batch_g, ph[0], *edges, strict=True))


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
