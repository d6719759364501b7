"""From masses on the grid to an estimate, a band, and a set of estimates that adds up to 100 %."""

import numpy as np

from app.science.inference.values import Floats

STRETCH = (1.06, 1.08)  # below and above the median: fitted on lists left out of the fit
LONG_LIST, LENGTHENING = 12, 0.25  # errors of neighbours go together, so bands of long lists are too sure: fitted too
BAND = (0.1, 0.5, 0.9)
ROUNDS = 30


def quantiles(masses: Floats, edges: Floats) -> Floats:
    """Return the 10 %, 50 % and 90 % points of each row, log-linear inside a cell; (names, 3), % w/w."""
    logs = np.log(edges)
    answers = np.empty((len(masses), len(BAND)))
    for row, mass in enumerate(masses):
        summed = np.concatenate(([0.0], np.cumsum(mass)))
        answers[row] = np.exp(np.interp(np.array(BAND) * summed[-1], summed, logs))
    return answers


def stretched(points: Floats) -> Floats:
    """Widen each band about its median by the power that makes 80 % of the truths fall inside."""
    middle, longer = points[:, 1:2], max(1.0, len(points) / LONG_LIST) ** LENGTHENING
    wider: Floats = middle * (points / middle) ** np.array([[STRETCH[0] * longer, 1.0, STRETCH[1] * longer]])
    return wider


def closed_to_whole(middle: Floats, width: Floats, low: Floats, high: Floats) -> Floats:
    """Move the estimates to a sum of 100 in proportion to the square of their uncertainty, inside the bounds.

    Raises nothing: when the bounds leave no room the nearest sum is given.
    """
    answer = np.clip(middle, low, high)
    weight = np.where(high > low, np.maximum(width, 1e-12) ** 2, 0.0)
    for _ in range(ROUNDS):
        missing = 100.0 - answer.sum()
        free = weight * (answer < high if missing > 0 else answer > low)
        if abs(missing) < 1e-10 or free.sum() <= 0:
            break
        answer = np.clip(answer + missing * free / free.sum(), low, high)
    return answer
