"""Exact bounds on every percentage from order, the 1 % line, the sum, maxima and claims alone.

The feasible set is a union of polytopes, one for each number k of names above the 1 % line (EU 1223/2009
Art. 19(1)(g), 21 CFR 701.3(f)). For one k both bounds have a closed form: raising x_i to t raises every
name before it to at least t, which costs sum_{j<=i} max(0, t - l_j). The l_j descend along the chain, so that
cost is the largest of r*t - (sum of the r smallest l_j), and the highest t is a minimum over r. The same holds
downwards with the upper limits. Tests compare with a linear programme.
"""

from dataclasses import dataclass

import numpy as np

from app.science.inference.values import Floats, Integers

TOLERANCE = 1e-9
WHOLE = 100.0


@dataclass(frozen=True, slots=True)
class HardBounds:
    """Lowest and highest % w/w of every name; ``feasible[k]`` says whether k names can stand above the line."""

    low: Floats
    high: Floats
    feasible: np.ndarray

    @property
    def possible(self) -> bool:
        """Return whether any place of the line agrees with all the statements."""
        return bool(self.feasible.any())


def hard_bounds(low: Floats, high: Floats, chain: Integers) -> HardBounds:
    """Bound every name by the statements alone, over every place of the 1 % line.

    Args:
        low: smallest % w/w stated for each name (0..100), shape (n,).
        high: largest % w/w stated for each name (0..100), shape (n,).
        chain: the places, in printed order, of the names that descend; the others are free in order and amount.

    Returns:
        The hull over all feasible k. When no k is feasible the bounds are the stated ones.
    """
    answers = [_for_line(low, high, chain, k) for k in range(len(chain) + 1)]
    feasible = np.array([a is not None for a in answers])
    found = [a for a in answers if a is not None]
    if not found:
        return HardBounds(low.copy(), high.copy(), feasible)
    lows = np.min([a[0] for a in found], axis=0)
    highs = np.max([a[1] for a in found], axis=0)
    return HardBounds(lows, highs, feasible)


def stated_limits(low: Floats, high: Floats, chain: Integers, above: int) -> tuple[Floats, Floats] | None:
    """Tighten the stated limits along the chain with ``above`` names over the line; None when they cross."""
    low, high = low.copy(), high.copy()
    head, rest = chain[:above], chain[above:]
    low[head] = np.maximum.accumulate(np.maximum(low[head], 1.0)[::-1])[::-1]
    high[head] = np.minimum.accumulate(high[head])
    high[rest] = np.minimum(high[rest], 1.0)
    if np.any(low > high + TOLERANCE):
        return None
    return low, np.maximum(low, high)


def any_line_feasible(low: Floats, high: Floats, chain: Integers) -> bool:
    """Return whether the statements can hold together at any place of the line; arguments as ``hard_bounds``."""
    for above in range(len(chain) + 1):
        limits = stated_limits(low, high, chain, above)
        if limits is not None and limits[0].sum() <= WHOLE + TOLERANCE and limits[1].sum() >= WHOLE - TOLERANCE:
            return True
    return False


def _for_line(low: Floats, high: Floats, chain: Integers, above: int) -> tuple[Floats, Floats] | None:
    limits = stated_limits(low, high, chain, above)
    if limits is None:
        return None
    low, high = limits
    spare, surplus = WHOLE - low.sum(), high.sum() - WHOLE
    if spare < -TOLERANCE or surplus < -TOLERANCE:
        return None
    spare, surplus = max(spare, 0.0), max(surplus, 0.0)
    lowest, highest = np.maximum(low, high - surplus), np.minimum(high, low + spare)
    head = chain[:above]
    highest[head] = np.minimum(high[head], _fill(low[head], spare))
    lowest[head] = np.maximum(low[head], -_fill(-high[head][::-1], surplus)[::-1])
    return lowest, highest


def _fill(levels: Floats, amount: float) -> Floats:
    """Raise each level as far as ``amount`` allows when all before it must stay at least as high (levels descend)."""
    count = len(levels)
    sums = np.concatenate(([0.0], np.cumsum(levels)))
    last = np.arange(1, count + 1)[:, None]
    taken = np.arange(1, count + 1)[None, :]
    reach = (amount + sums[last] - sums[np.maximum(last - taken, 0)]) / taken
    filled: Floats = np.where(taken <= last, reach, np.inf).min(axis=1, initial=np.inf)
    return filled
