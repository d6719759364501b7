"""Doses by inverse solution: how many grams of a solution bring a batch to a pH, with their range."""

import math
from dataclasses import dataclass, replace

import numpy as np

from app.science.acid_base.activity import davies_term
from app.science.acid_base.belief import InputBelief
from app.science.acid_base.charge_balance import LN10, Array, Solutions, accelerated, form_shares, solve
from app.science.acid_base.model import Model, Stack, add, dose_system, vary
from app.science.acid_base.polyelectrolyte import ionised_fraction
from app.science.acid_base.validity import model_half_width

LARGEST_DOSE = 2.0  # grams of adjuster per gram of batch; with more it is another product
ALREADY_THERE = 0.005  # pH
SAFE_PART = 0.85  # of the calculated dose, then measure (common practice: 80-90 %)
PASS_LIMIT = 0.3  # pH by which the target may be passed at worst
WEIGHING = 0.05  # relative 90 % uncertainty of an addition as it is really made (common practice)
METER_90 = 0.13  # 90 % uncertainty of a calibrated meter's reading, pH (common practice)
LEAST_PART = 0.05
SAFE_SCORE = 1.8  # times the 90 % bound, about three standard uncertainties, so that the limit is not passed


@dataclass(frozen=True, slots=True)
class Dose:
    """A dose as a range, grams per gram of batch.

    Attributes:
        value: None when the target cannot be reached with this solution.
        low, high: about 90 % cover; ``high`` is LARGEST_DOSE when even that may not do.
        first: the part that may be added at once.
        start_ph: pH before the dose.
        nearest_ph: the target, or the closest pH that can be reached.
    """

    value: float | None
    low: float | None
    high: float | None
    first: float | None
    start_ph: float
    nearest_ph: float


def ph_after(model: Model, doses: Array, belief: InputBelief | None = None) -> Array:
    """Return the pH (as the meter would read it) after doses (N, A), grams per gram of formula."""
    believed = belief or InputBelief.prior(model)
    theta = np.repeat(believed.centre[None, :], doses.shape[0], axis=0)
    return solve(dose_system(model, theta, doses)).ph + believed.offset


def dose_to(model: Model, theta: Array, ph: Array, before: Array, which: int = 0) -> Array:
    """Return the grams (per gram of formula) of one adjuster that bring N variants to N pH values.

    At a given pH and ionic strength the charge balance is linear in the dose, so the dose is a quotient; the ionic
    strength around it is a fixed point. A negative number says that this solution moves the pH the other way, or
    cannot go that far.

    Args:
        model: the compiled formula.
        theta: standard scores of the inputs, shape (N, P).
        ph: the pH wanted, shape (N,).
        before: what was added already, shape (N, A).
        which: index of the adjuster.
    """
    variants = vary(model, theta)
    base = add(variants.base, model.added, variants.strength, before)
    strength = np.full(ph.shape, 0.05)
    last: Array | None = None
    last_found: Array | None = None
    for _ in range(100):
        dose, found = _linear(model, which, (base, variants.strength[:, which]), variants.constants, ph, strength)
        if float(np.max(np.abs(found - strength))) < 1e-12:
            break
        strength, last, last_found = accelerated(strength, found, last, last_found), strength, found
    return dose


def _linear(
    model: Model, which: int, rows: tuple[Stack, Array], constants: Solutions, ph: Array, strength: Array
) -> tuple[Array, Array]:
    """Solve the charge balance for the dose at fixed ionic strength; also give the ionic strength it leads to."""
    base, factor = rows
    davies = davies_term(strength)
    shares = form_shares(constants, ph, davies)
    mean = np.einsum("nfk,fk->nf", shares, constants.charges)
    square = np.einsum("nfk,fk->nf", shares, constants.charges**2)
    ionised = ionised_fraction(ph[:, None], constants.polymer_pk, constants.polymer_slope)
    gain = LN10 * constants.slope * davies
    hydrogen = np.exp(-LN10 * ph + gain)
    hydroxide = np.exp(LN10 * (ph - constants.pkw) + gain)
    free = hydrogen - hydroxide
    here = base.charge + (base.families * mean).sum(1) - (base.polymers * ionised).sum(1) + base.water_kg * free
    stock = model.added
    brought = stock.charge[which] + mean @ stock.families[which] - ionised @ stock.polymers[which]
    brought = brought * factor + stock.water_kg[which] * free
    dose = -here / np.where(np.abs(brought) < 1e-300, 1e-300, brought)
    bounded = np.clip(dose, 0.0, LARGEST_DOSE)
    squares = base.square + (base.families * square).sum(1)
    squares = squares + bounded * factor * (stock.square[which] + square @ stock.families[which])
    water = base.water_kg + bounded * stock.water_kg[which]
    return dose, 0.5 * (squares / water + hydrogen + hydroxide)


def plan_dose(
    model: Model, target: float, belief: InputBelief | None = None, before: Array | None = None, which: int = 0
) -> Dose:
    """Plan the dose of one adjuster that brings a batch to a target pH.

    Args:
        model: the compiled formula with its adjusters.
        target: pH, as the meter should read it.
        belief: what readings have taught; default the stated uncertainties.
        before: what was added already, shape (A,), grams per gram of formula.
        which: index of the adjuster.
    """
    believed = belief or InputBelief.prior(model)
    added = np.zeros(len(model.adjusters)) if before is None else before
    theta, offsets = believed.rows()
    doses = np.repeat(added[None, :], theta.shape[0], axis=0)
    solved = solve(dose_system(model, theta, doses))
    starts = solved.ph + offsets
    start = float(starts[0])
    if abs(start - target) < ALREADY_THERE:
        return Dose(0.0, 0.0, 0.0, 0.0, start, start)
    direction = 1.0 if target > start else -1.0
    half = math.hypot(0.02, believed.model_share * model_half_width(float(solved.ionic_strength[0])))
    question = _Question(model, which, added, direction, half)
    dose = float(dose_to(model, theta[:1], target - offsets[:1], doses[:1], which)[0])
    if not 0.0 < dose <= LARGEST_DOSE:
        return Dose(None, None, None, None, start, _nearest(model, believed, added, which, target))
    spread = question.spread(theta, offsets, starts, target)
    wary = replace(question, half=float(np.hypot(half, believed.model_share * METER_90)))
    limit = wary.spread(theta, offsets, starts, target + direction * PASS_LIMIT)
    low, high = max(dose + spread[0], 0.0), min(dose + spread[1], LARGEST_DOSE)
    part = 1.0 if belief is not None and added.any() else SAFE_PART
    # The usual part of the dose, or less when the uncertainty could carry the batch past the limit.
    safe = limit[2] - SAFE_SCORE * math.hypot(limit[0], WEIGHING * dose)
    return Dose(dose, low, high, max(min(part * dose, safe), LEAST_PART * dose), start, target)


@dataclass(frozen=True, slots=True)
class _Question:
    """One adjuster, one direction: what is asked of every variant."""

    model: Model
    which: int
    added: Array
    direction: float
    half: float

    def spread(self, theta: Array, offsets: Array, starts: Array, target: float) -> tuple[float, float, float]:
        """Return how far the dose may lie below and above its central value, and that value."""
        targets = np.concatenate((target - offsets, target - offsets[0] + np.array([self.half, -self.half])))
        rows = np.vstack((theta, theta[:1], theta[:1]))
        begins = np.concatenate((starts - offsets, np.repeat(starts[:1] - offsets[0], 2)))
        before = np.repeat(self.added[None, :], rows.shape[0], axis=0)
        doses = dose_to(self.model, rows, targets, before, self.which)
        past = self.direction * (targets - begins) <= 0
        doses = np.where(past, 0.0, np.where((doses < 0) | (doses > LARGEST_DOSE), LARGEST_DOSE, doses))
        paired = np.concatenate((doses[1:-2].reshape(2, -1), doses[-2:].reshape(2, 1)), axis=1) - doses[0]
        down = np.minimum(paired.min(axis=0), 0.0)
        up = np.maximum(paired.max(axis=0), 0.0)
        return -float(np.linalg.norm(down)), float(np.linalg.norm(up)), float(doses[0])


def _nearest(model: Model, belief: InputBelief, added: Array, which: int, target: float) -> float:
    """Return the pH closest to the target that any dose of this solution reaches."""
    doses = np.repeat(added[None, :], 200, axis=0)
    doses[:, which] += np.concatenate(([0.0], np.geomspace(1e-6, LARGEST_DOSE, 199)))
    ph = ph_after(model, doses, belief)
    return float(ph[np.argmin(np.abs(ph - target))])
