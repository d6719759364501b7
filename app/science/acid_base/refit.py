"""Learning from readings: the most probable inputs given what was added and what the meter said."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.science.acid_base.belief import Belief
from app.science.acid_base.charge_balance import Array, solve
from app.science.acid_base.model import Model, dose_system

SESSION_TRACE = 2e-4  # mol/kg: acid or base that nobody wrote down in a real beaker (estimate)
METER_OFFSET = 0.08  # standard uncertainty shared by all readings of one calibrated meter (common practice 0.05-0.1)
READING_NOISE = 0.03  # standard uncertainty of one reading of a meter on a clear water phase
STRIP_NOISE = 0.3  # the same for a paper strip, which is good to about half a unit
MODEL_SHARE_AFTER = 0.2
EXPECTED_MISFIT = 1.5  # standard uncertainties; a worse one says that something else is wrong
ROUNDS = 25
STEP = 1e-4


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading: grams of each adjuster added so far per gram of formula, the pH shown, its standard uncertainty."""

    doses: tuple[float, ...]
    ph: float
    noise: float = READING_NOISE


@dataclass(frozen=True, slots=True)
class Fit:
    """What the readings taught: the belief, and the worst misfit in standard uncertainties."""

    belief: Belief
    worst_misfit: float


def refit(model: Model, readings: Sequence[Reading], meter_offset: float = METER_OFFSET) -> Fit:
    """Fit the uncertain inputs and the meter's offset to the readings (maximum a posteriori, Laplace spread).

    Each input has the prior N(0, 1) in its stated uncertainty, the offset of the meter N(0, ``meter_offset``).
    Levenberg-Marquardt steps on standard scores.
    """
    problem = _Problem(
        model,
        np.array([r.doses for r in readings], dtype=np.float64).reshape(len(readings), -1),
        np.array([r.ph for r in readings]),
        np.array([r.noise for r in readings]),
        meter_offset,
    )
    score = np.zeros(len(model.inputs) + 1)
    misfit, jacobian = problem.linear(score)
    damping = 1e-3
    for _ in range(ROUNDS):
        moved = score + problem.step(score, misfit, jacobian, damping)
        new_misfit, new_jacobian = problem.linear(moved)
        if _cost(moved, new_misfit) > _cost(score, misfit):
            damping *= 8.0
            continue
        settled = float(np.max(np.abs(moved - score))) < 1e-5
        score, misfit, jacobian, damping = moved, new_misfit, new_jacobian, damping / 5.0
        if settled:
            break
    worst = float(np.max(np.abs(misfit), initial=0.0))
    return Fit(problem.belief(score, jacobian, max(1.0, worst / EXPECTED_MISFIT)), worst)


def _cost(score: Array, misfit: Array) -> float:
    return float(score @ score + misfit @ misfit)


@dataclass(frozen=True, slots=True)
class _Problem:
    model: Model
    doses: Array
    seen: Array
    noise: Array
    meter: float

    def predicted(self, scores: Array) -> Array:
        """Predict the readings (V, R) of V variants of the standard scores (V, P + 1)."""
        count = len(self.seen)
        theta = np.repeat(scores[:, :-1], count, axis=0)
        ph = solve(dose_system(self.model, theta, np.tile(self.doses, (scores.shape[0], 1)))).ph
        return ph.reshape(scores.shape[0], count) + self.meter * scores[:, -1:]

    def linear(self, score: Array) -> tuple[Array, Array]:
        """Give the misfits (R,) and their slopes (R, P + 1) in units of the noise."""
        rows = np.vstack((score[None, :], score[None, :] + STEP * np.eye(len(score))))
        predicted = self.predicted(rows)
        slopes = (predicted[1:] - predicted[0]).T / STEP
        return (self.seen - predicted[0]) / self.noise, slopes / self.noise[:, None]

    def step(self, score: Array, misfit: Array, jacobian: Array, damping: float) -> Array:
        """Give one damped Gauss-Newton step towards the most probable scores."""
        curvature = jacobian.T @ jacobian + (1.0 + damping) * np.eye(len(score))
        return np.asarray(np.linalg.solve(curvature, jacobian.T @ misfit - score), dtype=np.float64)

    def belief(self, score: Array, jacobian: Array, widening: float) -> Belief:
        """Turn the most probable scores and the curvature there into a belief, wider where readings disagree."""
        covariance = np.linalg.inv(jacobian.T @ jacobian + np.eye(len(score)))
        spread = np.asarray(np.linalg.cholesky(0.5 * (covariance + covariance.T)), dtype=np.float64)
        spread[-1] *= self.meter
        spread *= widening
        return Belief(score[:-1], float(score[-1]) * self.meter, spread, MODEL_SHARE_AFTER)
