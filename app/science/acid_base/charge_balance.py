"""The charge balance of many solutions at once: pH and ionic strength of each row.

    [H+] - [OH-] + sum z m (strong ions) + sum C sum_i (z0 - i) x_i - sum C_p a = 0

with the shares x_i of the forms of every weak family and the ionised share a of acid polymers.

References:
    W. Stumm, J. J. Morgan, Aquatic Chemistry, 3rd ed., Wiley 1996, ch. 3 (charge balance);
    J. H. Wegstein, Commun. ACM 1958, 1 (6), 9 (acceleration of the fixed point on the ionic strength).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.science.acid_base.activity import davies_term
from app.science.acid_base.polyelectrolyte import ionised_fraction

Array = NDArray[np.float64]
LN10 = math.log(10.0)
LOWEST_PH, HIGHEST_PH = -2.0, 16.0
MOST_ROUNDS = 80
PH_STEP = 1e-12  # a smaller step changes nothing
STRENGTH_STEP = 1e-11  # mol/kg


@dataclass(frozen=True, slots=True)
class Solutions:
    """N solutions of F families and L polymers, per kg of water.

    Attributes:
        totals: molality of each family, shape (N, F).
        cumulative: sums of the pKa values lost so far, from 0, padded with +inf, shape (N or 1, F, K + 1).
        charges: charge of each form, shape (F, K + 1).
        polymers: equivalents of acid groups, shape (N, L).
        polymer_pk, polymer_slope: the law of each polymer, shape (N or 1, L).
        strong_charge: net charge of the strong ions, mol/kg, shape (N,).
        strong_square: sum of z^2 m over the strong ions, shape (N,).
        slope: A of the Davies equation; 0 leaves every activity coefficient at 1.
        pkw: -log10 of the ionic product of water.
    """

    totals: Array
    cumulative: Array
    charges: Array
    polymers: Array
    polymer_pk: Array
    polymer_slope: Array
    strong_charge: Array
    strong_square: Array
    slope: float
    pkw: float


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """The solved rows.

    Attributes:
        ph: shape (N,).
        ionic_strength: mol/kg, shape (N,).
        shares: share of each form in its family, 0..1, shape (N, F, K + 1).
        ionised: ionised share of each polymer, shape (N, L).
        residual: what is left of the charge balance, mol/kg, shape (N,).
        capacity: buffer capacity dB/dpH at fixed ionic strength, mol/kg per pH, shape (N,).
    """

    ph: Array
    ionic_strength: Array
    shares: Array
    ionised: Array
    residual: Array
    capacity: Array


@dataclass(frozen=True, slots=True)
class Balance:
    """The charge balance at given pH and ionic strength; see the attributes of Equilibrium."""

    charge: Array
    slope: Array
    square: Array
    shares: Array
    ionised: Array


def stack_constants(pkas: list[tuple[float, ...]], charges: list[int]) -> tuple[Array, Array]:
    """Return ``cumulative`` (1, F, K + 1) and ``charges`` (F, K + 1) of a System.

    Args:
        pkas: the pKa values of each of F families, the strongest acid first, up to K of them.
        charges: the charge of each family's fully protonated form.
    """
    width = max((len(p) for p in pkas), default=0) + 1
    cumulative = np.full((1, len(pkas), width), np.inf)
    for row, steps in enumerate(pkas):
        cumulative[0, row, : len(steps) + 1] = np.concatenate(([0.0], np.cumsum(steps)))
    z = np.array(charges, dtype=np.float64)[:, None] - np.arange(width, dtype=np.float64)
    return cumulative, z


def form_shares(system: Solutions, ph: Array, davies: Array) -> Array:
    """Return the share of every form, shape (N, F, K + 1), at pH (N,) and Davies term ``davies`` (N,).

    x_i is proportional to 10^(i pH - pKa1 - ... - pKai) g(z0) / g(z0 - i), i protons lost; the largest exponent is
    taken out first, so that nothing overflows.
    """
    lost = np.arange(system.charges.shape[1], dtype=np.float64)
    squares = system.charges[:, :1] ** 2 - system.charges**2
    logs = ph[:, None, None] * lost - system.cumulative - (system.slope * davies)[:, None, None] * squares
    logs -= logs.max(axis=2, keepdims=True)
    weights = np.exp(LN10 * logs)
    weights /= weights.sum(axis=2, keepdims=True)
    return weights


def balance(system: Solutions, ph: Array, ionic_strength: Array) -> Balance:
    """Evaluate the charge balance (mol/kg), its slope with pH and the sum of z^2 m.

    Args:
        system: N solutions.
        ph: shape (N,).
        ionic_strength: mol/kg, shape (N,).
    """
    davies = davies_term(ionic_strength)
    shares = form_shares(system, ph, davies)
    squares = system.charges**2
    mean = np.einsum("nfk,fk->nf", shares, system.charges)
    square = np.einsum("nfk,fk->nf", shares, squares)
    gain = LN10 * system.slope * davies
    hydrogen = np.exp(-LN10 * ph + gain)
    hydroxide = np.exp(LN10 * (ph - system.pkw) + gain)
    ionised = ionised_fraction(ph[:, None], system.polymer_pk, system.polymer_slope)
    charge = hydrogen - hydroxide + system.strong_charge
    charge = charge + (system.totals * mean).sum(axis=1) - (system.polymers * ionised).sum(axis=1)
    spread = (system.totals * (square - mean**2)).sum(axis=1)
    spread = spread + (system.polymers * ionised * (1.0 - ionised) / system.polymer_slope).sum(axis=1)
    slope = -LN10 * (hydrogen + hydroxide + spread)
    total = hydrogen + hydroxide + system.strong_square + (system.totals * square).sum(axis=1)
    return Balance(charge, slope, total, shares, ionised)


def _root(system: Solutions, start: Array, ionic_strength: Array) -> tuple[Array, Balance]:
    """Find the pH of every row at fixed ionic strength: Newton, kept inside a shrinking bracket."""
    low = np.full_like(start, LOWEST_PH)
    high = np.full_like(start, HIGHEST_PH)
    ph = start
    for _ in range(MOST_ROUNDS):
        now = balance(system, ph, ionic_strength)
        low = np.where(now.charge > 0, ph, low)
        high = np.where(now.charge > 0, high, ph)
        move = now.charge / now.slope
        if bool(np.all(np.abs(move) < PH_STEP)):
            break
        following = ph - move
        outside = (following < low) | (following > high)
        following = np.where(outside, 0.5 * (low + high), following)
        ph = following
    return ph, now


def accelerated(strength: Array, found: Array, last: Array | None, last_found: Array | None) -> Array:
    """Return the next ionic strength (N,), mol/kg, by a bounded secant step on the fixed point.

    Args:
        strength, found: what was put in this round and what came out of it, mol/kg, shape (N,).
        last, last_found: the same of the round before, None in the first.

    References:
        J. H. Wegstein, Commun. ACM 1958, 1 (6), 9 (the bounds on the step: common practice).
    """
    if last is None or last_found is None:
        return found
    moved = strength - last
    change = np.divide(found - last_found, moved, out=np.zeros_like(moved), where=np.abs(moved) > 1e-15)
    weight = 1.0 / (1.0 - np.clip(change, -4.0, 0.8))
    following: Array = np.maximum(strength + weight * (found - strength), 0.0)
    return following


def solve(system: Solutions, start_ph: float = 7.0, start_strength: float = 0.05) -> Equilibrium:
    """Solve every row for pH and ionic strength together.

    The pH is the root of the charge balance, which falls strictly with pH at fixed ionic strength; around it the
    ionic strength is a fixed point, stopped when it moves less than 1e-11 mol/kg.

    Args:
        system: N solutions.
        start_ph, start_strength: where to begin, -2 to 16 and mol/kg; what is found does not depend on it.
    """
    strength = np.full(system.totals.shape[0], start_strength)
    ph = np.full_like(strength, start_ph)
    last: Array | None = None
    last_found: Array | None = None
    for _ in range(MOST_ROUNDS):
        ph, now = _root(system, ph, strength)
        found = 0.5 * now.square
        if float(np.max(np.abs(found - strength), initial=0.0)) < STRENGTH_STEP:
            break
        strength, last, last_found = accelerated(strength, found, last, last_found), strength, found
    return Equilibrium(ph, strength, now.shares, now.ionised, now.charge, -now.slope)
