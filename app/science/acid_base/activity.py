"""Activity coefficients, the ionic product of water and pKa values at a temperature."""

import math

import numpy as np
from numpy.typing import NDArray

from app.science.acid_base.values import STANDARD_TEMPERATURE_C

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
KELVIN = 273.15
PKW_25 = 13.997  # NIST Critically Selected Stability Constants (SRD 46), zero ionic strength
COLDEST_C, HOTTEST_C = 0.0, 80.0
LARGEST_IONIC_STRENGTH = 3.0  # beyond, the Davies term is frozen: it has no meaning there

_DAVIES_T = (0.0, 20.0, 25.0, 40.0, 50.0)
_DAVIES_A = (0.492, 0.507, 0.509, 0.524, 0.534)


def davies_slope(temperature_c: float) -> float:
    """Give A of the Davies equation at a temperature in C (0..50 tabulated, 0.001 per degree beyond).

    Computed from the permittivity and density of water; 0.509 at 25 C.
    """
    if temperature_c > _DAVIES_T[-1]:
        return _DAVIES_A[-1] + 0.001 * (temperature_c - _DAVIES_T[-1])
    return float(np.interp(temperature_c, _DAVIES_T, _DAVIES_A))


def davies_term(ionic_strength: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give sqrt(I)/(1 + sqrt(I)) - 0.3 I (Davies 1962), so that log10 g = -A z^2 times this. I in mol/kg."""
    bounded = np.minimum(ionic_strength, LARGEST_IONIC_STRENGTH)
    root = np.sqrt(bounded)
    term: NDArray[np.float64] = root / (1.0 + root) - 0.3 * bounded
    return term


def pkw(temperature_c: float) -> float:
    """Give -log10 of the ionic product of water at a temperature in C.

    Harned and Robinson's equation, pKw = 4470.99/T - 6.0875 + 0.01706 T, moved by 0.002 to meet 13.997 at 25 C.
    """
    return _harned_robinson(temperature_c) + PKW_25 - _harned_robinson(STANDARD_TEMPERATURE_C)


def _harned_robinson(temperature_c: float) -> float:
    kelvin = temperature_c + KELVIN
    return 4470.99 / kelvin - 6.0875 + 0.01706 * kelvin


def pka_at(pka: float, enthalpy_kj_mol: float, temperature_c: float) -> float:
    """Move a pKa from 25 C to a temperature in C by van 't Hoff, with a constant enthalpy in kJ/mol."""
    inverse = 1.0 / (temperature_c + KELVIN) - 1.0 / (STANDARD_TEMPERATURE_C + KELVIN)
    return pka + 1000.0 * enthalpy_kj_mol / (math.log(10.0) * GAS_CONSTANT) * inverse
