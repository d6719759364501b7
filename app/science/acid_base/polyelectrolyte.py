"""Acid polymers: the titration law of Katchalsky and Spitnik and where such a polymer makes a gel."""

import math

import numpy as np
from numpy.typing import NDArray

LN10 = math.log(10.0)


def ionised_fraction(
    ph: NDArray[np.float64], pk: NDArray[np.float64], slope: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the ionised share of the acid groups, 0..1: a = 1/(1 + 10^((pKapp - pH)/n)).

    ``pk`` is the apparent pKa, ``slope`` n (1 for a simple acid, above 1 for a polymer). Arrays broadcast.

    References:
        A. Katchalsky, P. Spitnik, J. Polym. Sci. 1947, 2, 432.
    """
    exponent = np.clip((pk - ph) / slope * LN10, -700.0, 700.0)
    fraction: NDArray[np.float64] = 1.0 / (1.0 + np.exp(exponent))
    return fraction
