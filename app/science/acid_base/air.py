"""What carbon dioxide of the air does to the pH of a solution that stands open."""

import numpy as np

from app.science.acid_base.charge_balance import HIGHEST_PH, LOWEST_PH, Solutions, balance

DISSOLVED = 1.4e-5  # mol/kg of CO2 in water under air of 420 ppm: Henry's constant 10^-1.47 mol/(kg atm) at 25 C
PK1, PK2 = 6.352, 10.329  # Plummer and Busenberg, Geochim. Cosmochim. Acta 1982, 46, 1011 (25 C; also Henry's constant)
MOST_TAKEN = 1e-4  # mol/kg that an open vessel takes up while it is made and measured (estimate)


def uptake_of_carbon_dioxide(system: Solutions, ph: float, ionic_strength: float) -> float:
    """Return the acid, mol/kg of water, that a solution takes up from the air as carbonic acid.

    In equilibrium with the air the charge of bicarbonate and carbonate, c (K1/h + 2 K1 K2/h^2), joins the charge
    balance (Stumm and Morgan, Aquatic Chemistry, ch. 4); an alkaline solution would go on for days, so the uptake is
    cut at ``MOST_TAKEN``. Pure water falls from 7.0 to 5.6.

    Args:
        system: one solution, see ``System``.
        ph: its pH without air.
        ionic_strength: mol/kg of water, held fixed.
    """
    from scipy.optimize import brentq

    strength = np.array([ionic_strength])

    def charge(at: float) -> float:
        return float(balance(system, np.array([at]), strength).charge[0]) - _carbonate(at)

    aired = float(brentq(charge, LOWEST_PH, HIGHEST_PH, xtol=1e-6))
    return min(_carbonate(aired), MOST_TAKEN) if aired < ph else 0.0


def _carbonate(ph: float) -> float:
    """Return the charge of bicarbonate and carbonate under air at a pH, mol/kg of water."""
    return float(DISSOLVED * (10.0 ** (ph - PK1) + 2.0 * 10.0 ** (2.0 * ph - PK1 - PK2)))
