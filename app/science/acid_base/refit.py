"""Learning from readings: the most probable inputs given what was added and what the meter said."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.science.acid_base.belief import InputBelief
from app.science.acid_base.charge_balance import Array, solve
from app.science.acid_base.model import Model, dose_system

SESSION_TRACE = 2e-4  # mol/kg: acid or base that nobody wrote down in a real beaker (estimate)
METER_OFFSET = 0.08  # standard uncertainty shared by all readings of one calibrated meter (common practice 0.05-0.1)
READING_NOISE = 0.03  # standard uncertainty of one reading of a meter on a clear water phase
MODEL_SHARE_AFTER = 0.2
EXPECTED_MISFIT = 1.5  # standard uncertainties; a worse one says that something else is wrong
SIDE = 2.0  # standard uncertainties from the stated values at which the search begins once more
STEP = 1e-4


@dataclass(frozen=True, slots=True)
class MeterReading:
    """A reading: grams of each adjuster added so far per gram of formula, the pH shown, its standard uncertainty."""

    doses: tuple[float, ...]
    ph: float
    noise: float = READING_NOISE


@dataclass(frozen=True, slots=True)
class Fit:
    """What the readings taught.

    Attributes:
        belief: over the inputs and the meter, after the readings.
        worst_misfit: of a single reading, in standard uncertainties.
        cost: squared misfits plus squared moves of the inputs, both in standard uncertainties.
        readings: how many readings were fitted.
    """

    belief: InputBelief
    worst_misfit: float
    cost: float
    readings: int

    @property
    def is_plausible(self) -> bool:
        """Whether readings and formula can both be right.

        For a linear model with normal errors the least cost of n readings is distributed as chi-squared with n degrees
        of freedom (mean n, variance 2 n; Tarantola, Inverse Problem Theory, SIAM 2005, section 3.2.3). More than four
        standard deviations above the mean is not believed.
        """
        return _can_be(self.cost, self.readings)


def _can_be(cost: float, readings: int) -> bool:
    return cost <= readings + 4.0 * math.sqrt(2.0 * readings)


def refit(model: Model, readings: Sequence[MeterReading], meter_offset: float = METER_OFFSET) -> Fit:
    """Return the most probable inputs and meter offset given the readings, with their spread.

    Each input has the prior N(0, 1) in its stated uncertainty, the offset of the meter N(0, ``meter_offset``). The sum
    of squares of misfits and scores is minimised (maximum a posteriori; Levenberg and Marquardt's method of
    `scipy.optimize.least_squares`), and where what is found is hardly credible, from further starting points too, since
    a titration curve has flat parts. The spread is Laplace's, from the curvature at the minimum.

    Args:
        model: the compiled batch with its adjusters.
        readings: pH with the doses before it, in grams per gram of batch; at least one.
        meter_offset: standard uncertainty of the meter that all readings share, in pH.
    """
    problem = _Problem(
        model,
        np.array([r.doses for r in readings], dtype=np.float64).reshape(len(readings), -1),
        np.array([r.ph for r in readings]),
        np.array([r.noise for r in readings]),
        meter_offset,
    )
    best = problem.search(np.zeros(len(model.inputs) + 1))
    if not _can_be(2.0 * float(best.cost), len(readings)):
        best = min((best, *map(problem.search, problem.starts())), key=lambda one: float(one.cost))
    misfit = problem.residuals(best.x)[: len(readings)]
    worst = float(np.max(np.abs(misfit), initial=0.0))
    slopes = problem.jacobian(best.x)[: len(readings)]
    belief = problem.belief(best.x, slopes, max(1.0, worst / EXPECTED_MISFIT))
    return Fit(belief, worst, 2.0 * float(best.cost), len(readings))


@dataclass(frozen=True, slots=True)
class _Problem:
    model: Model
    doses: Array
    seen: Array
    noise: Array
    meter: float

    def predicted(self, scores: Array) -> Array:
        """Return the readings (V, R) that V variants of the standard scores (V, P + 1) would give."""
        count = len(self.seen)
        theta = np.repeat(scores[:, :-1], count, axis=0)
        ph = solve(dose_system(self.model, theta, np.tile(self.doses, (scores.shape[0], 1)))).ph
        return ph.reshape(scores.shape[0], count) + self.meter * scores[:, -1:]

    def residuals(self, score: Array) -> Array:
        """Return the misfits (R,) in units of the noise, then the scores (P + 1,), which cost as much as they move."""
        return np.concatenate(((self.predicted(score[None, :])[0] - self.seen) / self.noise, score))

    def jacobian(self, score: Array) -> Array:
        """Return the slopes of the residuals, shape (R + P + 1, P + 1), by differences solved in one call."""
        rows = np.vstack((score[None, :], score[None, :] + STEP * np.eye(len(score))))
        predicted = self.predicted(rows)
        slopes = (predicted[1:] - predicted[0]).T / STEP / self.noise[:, None]
        return np.vstack((slopes, np.eye(len(score))))

    def search(self, start: Array) -> Any:
        """Return the least squares result that is reached from a start (P + 1,)."""
        from scipy.optimize import least_squares

        return least_squares(self.residuals, start, self.jacobian, method="lm", xtol=1e-6, ftol=1e-6, gtol=1e-6)

    def starts(self) -> tuple[Array, ...]:
        """Return further starts: two uncertainties to either side, along the direction that moves the readings most."""
        slopes = self.jacobian(np.zeros(len(self.model.inputs) + 1))[: len(self.seen)].sum(axis=0)
        size = float(np.linalg.norm(slopes))
        return (SIDE * slopes / size, -SIDE * slopes / size) if size else ()

    def belief(self, score: Array, jacobian: Array, widening: float) -> InputBelief:
        """Return the most probable scores and the curvature there as a belief, wider where readings disagree."""
        covariance = np.linalg.inv(jacobian.T @ jacobian + np.eye(len(score)))
        spread = np.asarray(np.linalg.cholesky(0.5 * (covariance + covariance.T)), dtype=np.float64)
        spread[-1] *= self.meter
        spread *= widening
        return InputBelief(score[:-1], float(score[-1]) * self.meter, spread, MODEL_SHARE_AFTER)
