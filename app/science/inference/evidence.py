"""What was measured or seen of the product in hand, as likelihoods over whole compositions.

A measurement of a weighted sum (loss on drying, ash) is first laid on the name that varies most in it, which is nearly
exact where one name carries it, as water does; compositions drawn from that are then weighed by the whole measurement.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science.inference.posterior import Tilt
from app.science.inference.values import Floats


@dataclass(frozen=True, slots=True)
class LinearMeasurement:
    """``value`` = sum(coefficient * x) within ``sigma`` (one standard deviation), all in % w/w."""

    name: str
    coefficients: Floats
    value: float
    sigma: float

    def log_likelihood(self, draws: Floats) -> Floats:
        """Return the log likelihood of compositions, shape (draws, names)."""
        found: Floats = -0.5 * ((draws @ self.coefficients - self.value) / self.sigma) ** 2
        return found


@dataclass(frozen=True, slots=True)
class DensityMeasurement:
    """The density, g/mL, within ``sigma``: 100 / sum(x / density), volumes taken as additive."""

    name: str
    densities: Floats
    value: float
    sigma: float

    def log_likelihood(self, draws: Floats) -> Floats:
        """Return the log likelihood of compositions, shape (draws, names)."""
        found: Floats = -0.5 * ((density_of(draws, self.densities) - self.value) / self.sigma) ** 2
        return found


@dataclass(frozen=True, slots=True)
class BoundMeasurement:
    """sum(coefficient * x) lies from ``low`` to ``high``, softly: ``sigma`` beyond an end costs as a bell."""

    name: str
    coefficients: Floats
    low: float
    high: float
    sigma: float

    def log_likelihood(self, draws: Floats) -> Floats:
        """Return the log likelihood of compositions, shape (draws, names)."""
        total = draws @ self.coefficients
        beyond = np.maximum(np.maximum(self.low - total, total - self.high), 0.0)
        found: Floats = -0.5 * (beyond / self.sigma) ** 2
        return found


@dataclass(frozen=True, slots=True)
class RatioMeasurement:
    """x[top] / x[bottom] is ``value`` within ``sigma`` of its natural logarithm, as a pH tells of base over acid."""

    name: str
    top: int
    bottom: int
    value: float
    sigma: float

    def log_likelihood(self, draws: Floats) -> Floats:
        """Return the log likelihood of compositions, shape (draws, names)."""
        ratio = np.log(np.maximum(draws[:, self.top], 1e-9) / np.maximum(draws[:, self.bottom], 1e-9))
        found: Floats = -0.5 * ((ratio - np.log(self.value)) / self.sigma) ** 2
        return found


Measurement = LinearMeasurement | DensityMeasurement | BoundMeasurement | RatioMeasurement


def density_of(draws: Floats, densities: Floats) -> Floats:
    """Return the density of compositions in g/mL, volumes taken as additive; ``densities`` g/mL of each name."""
    found: Floats = 100.0 / (draws @ (1.0 / densities))
    return found


def tilt_for(measured: LinearMeasurement, draws: Floats) -> tuple[int, Tilt] | None:
    """Return the name that varies most in a measurement, and what it says of that name when the rest is as drawn."""
    parts = draws * measured.coefficients[None, :]
    spread = parts.std(axis=0)
    place = int(np.argmax(spread))
    if spread[place] <= 0:
        return None
    rest = parts.sum(axis=1) - parts[:, place]
    coefficient = measured.coefficients[place]
    sigma = float(np.hypot(measured.sigma, rest.std())) / abs(coefficient)
    return place, Tilt(float((measured.value - rest.mean()) / coefficient), sigma)


def weights_of(measured: Sequence[Measurement], draws: Floats, tilts: Mapping[int, Tilt]) -> Floats:
    """Return the weight of every drawn composition, summing to 1; what the tilts said already is taken off."""
    logs = np.zeros(len(draws))
    for one in measured:
        logs = logs + one.log_likelihood(draws)
    for place, tilt in tilts.items():
        logs = logs - np.log(tilt(draws[:, place]))
    weight = np.exp(np.maximum(logs - logs.max(), -700.0))
    total: Floats = weight / weight.sum()
    return total


def weighted_quantiles(draws: Floats, weight: Floats, points: Sequence[float]) -> Floats:
    """Return quantiles of every name over weighted compositions, (names, points)."""
    answers = np.empty((draws.shape[1], len(points)))
    for name in range(draws.shape[1]):
        order = np.argsort(draws[:, name])
        summed = np.cumsum(weight[order]) - 0.5 * weight[order]
        answers[name] = np.exp(np.interp(points, summed, np.log(np.maximum(draws[order, name], 1e-9))))
    return answers


def expected_narrowing(draws: Floats, predicted: Floats, sigma: float) -> float:
    """Return by how much a measurement would narrow the bands on average, 0 to 1, before it is made.

    For each name 1 - sqrt(1 - r^2), r the correlation of ln x with the reading, its error included: the narrowing of a
    normal law by one linear observation.

    Args:
        draws: compositions, (draws, names), % w/w.
        predicted: what each of them would read, (draws,).
        sigma: standard deviation of the reading, in its unit.
    """
    logs = np.log(np.maximum(draws, 1e-6))
    centred = logs - logs.mean(axis=0)
    off = predicted - predicted.mean()
    spread = centred.std(axis=0) * np.sqrt(off.var() + sigma**2)
    share = np.divide((centred * off[:, None]).mean(axis=0), spread, out=np.zeros(draws.shape[1]), where=spread > 0)
    return float(np.mean(1.0 - np.sqrt(1.0 - np.clip(share, -1.0, 1.0) ** 2)))


def narrowing_by_outcome(draws: Floats, outcomes: Floats) -> float:
    """Return by how much an observation with several outcomes would narrow the bands on average, 0 to 1.

    For each name 1 - (sum of P(outcome) times the spread of ln x after it) / the spread before it.

    Args:
        draws: compositions, (draws, names), % w/w.
        outcomes: the likelihood of every outcome for each of them, (outcomes, draws).
    """
    logs = np.log(np.maximum(draws, 1e-6))
    chance = outcomes.sum(axis=1)
    weight = outcomes[chance > 0] / chance[chance > 0, None]
    middle = weight @ logs
    spread = np.sqrt(np.maximum(weight @ logs**2 - middle**2, 0.0))
    after, before = (chance[chance > 0] / chance.sum()) @ spread, logs.std(axis=0)
    left = np.divide(after, before, out=np.ones(draws.shape[1]), where=before > 1e-9)
    return float(np.mean(1.0 - np.minimum(left, 1.0)))
