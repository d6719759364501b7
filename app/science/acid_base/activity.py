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
    """Return A of the Debye-Hueckel limiting law, (kg/mol)^0.5, at a temperature in C: 0.509 at 25 C.

    A = 1.8248e6 rho^0.5 / (eps T)^1.5 with the density rho (g/mL) and the relative permittivity eps of water, tabulated
    from 0 to 50 C and rising by 0.001 per degree beyond.

    References:
        R. A. Robinson, R. H. Stokes, Electrolyte Solutions, 2nd ed., Butterworths, London 1959, ch. 9.
    """
    if temperature_c > _DAVIES_T[-1]:
        return _DAVIES_A[-1] + 0.001 * (temperature_c - _DAVIES_T[-1])
    return float(np.interp(temperature_c, _DAVIES_T, _DAVIES_A))


def davies_term(ionic_strength: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return f(I) = sqrt(I) / (1 + sqrt(I)) - 0.3 I of the Davies equation log10 g = -A z^2 f(I).

    ``ionic_strength`` in mol/kg of water, any shape. The equation is used up to about 0.5 mol/kg; above 3 it is frozen.

    References:
        C. W. Davies, Ion Association, Butterworths, London 1962.
    """
    bounded = np.minimum(ionic_strength, LARGEST_IONIC_STRENGTH)
    root = np.sqrt(bounded)
    term: NDArray[np.float64] = root / (1.0 + root) - 0.3 * bounded
    return term


def pkw(temperature_c: float) -> float:
    """Return pKw, -log10 of the ionic product of water (mol/kg)^2, at a temperature in C (0 to 80).

    pKw = 4470.99/T - 6.0875 + 0.01706 T (T in kelvin), moved by 0.002 to meet 13.997 at 25 C.

    References:
        H. S. Harned, R. A. Robinson, Trans. Faraday Soc. 1940, 36, 973 (equation from memory).
        NIST Critically Selected Stability Constants (SRD 46) for the value at 25 C.
    """
    return _harned_robinson(temperature_c) + PKW_25 - _harned_robinson(STANDARD_TEMPERATURE_C)


def _harned_robinson(temperature_c: float) -> float:
    kelvin = temperature_c + KELVIN
    return 4470.99 / kelvin - 6.0875 + 0.01706 * kelvin


def pka_at(pka: float, enthalpy_kj_mol: float, temperature_c: float) -> float:
    """Return ``pka`` at 25 C moved to a temperature in C with a constant dissociation ``enthalpy_kj_mol``.

    pKa(T) = pKa(25) + dH / (R ln 10) (1/T - 1/298.15), the integrated equation of van 't Hoff.

    References:
        P. Atkins, J. de Paula, Physical Chemistry, ch. Chemical equilibrium.
    """
    inverse = 1.0 / (temperature_c + KELVIN) - 1.0 / (STANDARD_TEMPERATURE_C + KELVIN)
    return pka + 1000.0 * enthalpy_kj_mol / (math.log(10.0) * GAS_CONSTANT) * inverse
