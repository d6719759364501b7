"""How much of an acid is un-ionised at a pH, in a formula or in the textbook."""

import numpy as np

from app.science.acid_base.activity import davies_slope, davies_term, pka_at
from app.science.acid_base.charge_balance import LN10, balance, stack_constants
from app.science.acid_base.model import Model, dose_system
from app.science.acid_base.values import STANDARD_TEMPERATURE_C, Family

ROUNDS = 60


def strength_at(model: Model, ph: float) -> float:
    """Return the ionic strength, mol/kg, of a formula held at a pH.

    What the formula lacks to be neutral at that pH is taken as singly charged ions of whatever set it.
    """
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, len(model.adjusters))))
    strength = np.array([0.05])
    for _ in range(ROUNDS):
        now = balance(system, np.array([ph]), strength)
        strength = 0.5 * strength + 0.25 * (now.square + np.abs(now.charge))
    return float(strength[0])


def undissociated_fraction(
    family: Family, ph: float, ionic_strength: float = 0.0, temperature_c: float = STANDARD_TEMPERATURE_C
) -> float:
    """Return the share of an acid that is un-ionised (fully protonated) at a pH, 0..1.

    At zero ionic strength this is 1 / (1 + 10^(pH - pKa)) for a monoprotic acid; otherwise the activity coefficients
    of Davies enter. ``ionic_strength`` is in mol/kg.

    References:
        K. A. Hasselbalch, Biochem. Z. 1917, 78, 112.
    """
    enthalpies = family.enthalpies or (0.0,) * len(family.pkas)
    steps = tuple(pka_at(p, h, temperature_c) for p, h in zip(family.pkas, enthalpies, strict=True))
    cumulative, charges = stack_constants([steps], [family.charge])
    gain = davies_slope(temperature_c) * float(davies_term(np.array([ionic_strength]))[0])
    lost = np.arange(charges.shape[1], dtype=np.float64)
    logs = lost * ph - cumulative[0, 0] - gain * (charges[0, 0] ** 2 - charges[0] ** 2)
    weights = np.exp(LN10 * (logs - logs.max()))
    return float(weights[0] / weights.sum())
