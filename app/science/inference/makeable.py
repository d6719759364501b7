"""From the likely percentages to the nearest composition that can be made: a linear programme.

Belief says what is likely for each name by itself; a formula has to hold together. The programme moves as little as it
can, in units of each name's own band, until order, bounds and the sum hold and as many requirements as possible.
"""

import itertools
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science.inference.hard_bounds import stated_limits
from app.science.inference.values import Estimate, Floats, Integers

PLAUSIBLE = 0.03  # places of the 1 % line less likely than this are not tried
NARROWEST = 0.02
OUTSIDE_BAND = 4.0  # price of a band's width beyond the band, against 1 inside it
NOTICEABLE = 0.02
MISSED = 1e-4
ORDER_WEIGHT = 4.0  # below 1 % any order is lawful, but most makers go on as they began


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a composition must meet: ``low <= sum(coefficient * x) <= high``, x in % w/w, coefficients by place.

    ``rule`` names the check it comes from (``preservation``, ``blend``, ``gel``, ``pH``, ``emulsifier``,
    ``solubiliser``, ``working level``, ``law``), ``source`` where its figure comes from; ``weight`` is the price of
    missing it.
    """

    rule: str
    terms: Mapping[int, float]
    low: float = -np.inf
    high: float = np.inf
    source: str = ""
    weight: float = 60.0


@dataclass(frozen=True, slots=True)
class Move:
    """A name that starts elsewhere than is likely, % w/w, and the rule that moved it."""

    index: int
    before: float
    after: float
    rule: str


@dataclass(frozen=True, slots=True)
class MakeableStart:
    """A composition to start from, % w/w by place, with what was moved and what could not be met.

    ``above_line`` is the number of names of the chain at 1 % and more.
    """

    percents: tuple[float, ...]
    moves: tuple[Move, ...]
    unmet: tuple[Requirement, ...]
    above_line: int


def makeable_start(
    rows: Sequence[Estimate],
    chain: Integers,
    line_probability: Sequence[float],
    requirements: Sequence[Requirement],
    counted: Sequence[bool],
    unordered: Collection[int] = (),
) -> MakeableStart:
    """Find the nearest makeable composition.

    Args:
        rows: bounds, band and estimate of every name, % w/w.
        chain: the places, in printed order, of the names that descend.
        line_probability: probability of every number of names above the 1 % line.
        requirements: what should hold; what cannot is reported.
        counted: whether each name is certainly in the product.
        unordered: places that pull no neighbour along below 1 %, such as what sets the pH.

    Raises:
        ValueError: when no place of the line lets the bounds hold.
    """
    aimed = [r for r in requirements if any(counted[place] for place in r.terms)]
    following = [place for place in chain if place not in unordered]
    aimed += [
        Requirement("order", {a: 1.0, b: -1.0}, 0.0, weight=ORDER_WEIGHT) for a, b in itertools.pairwise(following)
    ]
    lines = [k for k, share in enumerate(line_probability) if share >= PLAUSIBLE and k <= len(chain)]
    lines = lines or [int(np.argmax(line_probability))]
    found = [one for k in lines if (one := _solve(rows, chain, k, aimed, counted, -np.log(line_probability[k] + 1e-9)))]
    if not found:
        raise ValueError("the bounds leave no composition that adds up")
    _, percents, slack, above = min(found, key=lambda one: one[0])
    unmet = tuple(r for r, missed in zip(aimed, slack, strict=True) if missed > MISSED and r.rule != "order")
    return MakeableStart(tuple(percents), tuple(_moves(rows, percents, aimed)), unmet, above)


def _solve(
    rows: Sequence[Estimate],
    chain: Integers,
    above: int,
    requirements: Sequence[Requirement],
    counted: Sequence[bool],
    line_cost: float,
) -> tuple[float, list[float], list[float], int] | None:
    """Solve for one place of the line; unknowns: x, steps up and down inside the band, the same outside, slack."""
    from scipy.optimize import linprog

    count = len(rows)
    low = np.array([row.low if use else 0.0 for row, use in zip(rows, counted, strict=True)])
    high = np.array([row.high if use else 0.0 for row, use in zip(rows, counted, strict=True)])
    limits = stated_limits(low, high, chain, above)
    if limits is None or limits[0].sum() > 100 + 1e-6 or limits[1].sum() < 100 - 1e-6:
        return None
    middle = np.array([row.estimate if use else 0.0 for row, use in zip(rows, counted, strict=True)])
    room = [
        np.array([max(row.band_high - row.estimate, NARROWEST * row.estimate, 1e-6) for row in rows]),
        np.array([max(row.estimate - row.band_low, NARROWEST * row.estimate, 1e-6) for row in rows]),
    ]
    one, none = np.eye(count), np.zeros((count, len(requirements)))
    balance = np.hstack((one, -one, one, -one, one, none))
    whole = np.concatenate((np.ones(count), np.zeros(4 * count + len(requirements))))[None, :]
    order, most = _inequalities(chain, above, requirements, count)
    prices = np.concatenate(
        (np.zeros(count), 1 / room[0], 1 / room[1], OUTSIDE_BAND / room[0], OUTSIDE_BAND / room[1],
         [r.weight / _scale(r) for r in requirements])
    )  # fmt: skip
    box = [*zip(*limits, strict=True), *((0.0, float(r)) for r in (*room[0], *room[1]))]
    box += [(0.0, None)] * (2 * count + len(requirements))
    solved = linprog(prices, order, most, np.vstack((balance, whole)), np.append(middle, 100.0), box, method="highs")
    if solved.status != 0:
        return None
    slack = [float(s) / _scale(r) for s, r in zip(solved.x[5 * count :], requirements, strict=True)]
    return float(solved.fun) + line_cost, [float(x) for x in solved.x[:count]], slack, above


def _scale(requirement: Requirement) -> float:
    """Return the size of a requirement, so that missing a tenth of a small one weighs as much as of a large one."""
    ends = [abs(end) for end in (requirement.low, requirement.high) if np.isfinite(end) and end]
    return max(min(ends, default=0.1), 1e-4)


def _inequalities(
    chain: Integers, above: int, requirements: Sequence[Requirement], count: int
) -> tuple[Floats, Floats]:
    width = 5 * count + len(requirements)
    rows, most = [], []
    for earlier, later in zip(chain[:above][:-1], chain[:above][1:], strict=True):
        row = np.zeros(width)
        row[earlier], row[later] = -1.0, 1.0
        rows.append(row)
        most.append(0.0)
    for number, requirement in enumerate(requirements):
        for end, sign in ((requirement.low, -1.0), (requirement.high, 1.0)):
            if np.isfinite(end):
                row = np.zeros(width)
                for place, coefficient in requirement.terms.items():
                    row[place] = sign * coefficient
                row[5 * count + number] = -1.0
                rows.append(row)
                most.append(sign * end)
    return (np.array(rows) if rows else np.zeros((0, width))), np.array(most)


def _moves(rows: Sequence[Estimate], percents: Sequence[float], requirements: Sequence[Requirement]) -> Iterable[Move]:
    """Say what moved by more than 2 %: for a requirement of its own, to fill up to 100 %, or to keep the order."""
    largest = max(range(len(rows)), key=lambda i: rows[i].estimate)
    for index, (row, percent) in enumerate(zip(rows, percents, strict=True)):
        if abs(percent - row.estimate) <= NOTICEABLE * max(row.estimate, 1e-6):
            continue
        pulling = (r for r in requirements if index in r.terms and _pulls(r, index, percent - row.estimate))
        own = next((r.rule for r in pulling if r.rule != "order"), "")
        yield Move(index, row.estimate, percent, own or ("sum" if index == largest else "order"))


def _pulls(requirement: Requirement, index: int, change: float) -> bool:
    """Return whether a requirement asks for a change in this direction."""
    up = requirement.terms[index] > 0
    wants_up = (np.isfinite(requirement.low) and up) or (np.isfinite(requirement.high) and not up)
    wants_down = (np.isfinite(requirement.high) and up) or (np.isfinite(requirement.low) and not up)
    return bool(wants_up if change > 0 else wants_down)


ROUNDED_UP = 0.995
STEPS = ((20.0, 1.0), (5.0, 0.5), (1.0, 0.1), (0.2, 0.05), (0.05, 0.01), (0.01, 0.005), (0.001, 0.001))


def weighable(percent: float) -> float:
    """Return a percentage as one would weigh it: whole points from 20 %, halves from 5 %, tenths from 1 %, and so on.

    >>> [weighable(x) for x in (47.31, 6.6, 1.234, 0.444, 0.0787)]
    [47.0, 6.5, 1.2, 0.45, 0.08]
    """
    step = next((step for least, step in STEPS if percent >= least), 0.0001)
    return round(round(percent / step) * step, 6)


def rounded_down(percent: float) -> float:
    """Return the next lower percentage that one would weigh, of two figures at the most.

    >>> [rounded_down(x) for x in (12.7, 2.47, 0.49, 0.0787, 0.00097)]
    [12.0, 2.4, 0.45, 0.07, 0.0009]
    """
    step = 10.0 ** (math.floor(math.log10(percent) + 1e-9) - 1)
    two = math.floor(percent / step + 1e-9) * step
    grid = next((one for least, one in STEPS if two >= least - 1e-12), 0.0001)
    return round(math.floor(two / grid + 1e-9) * grid, 6)


def rounded_up(percent: float) -> float:
    """Return the next two figures that do not fall short of a percentage by more than half a per cent of it.

    >>> [rounded_up(x) for x in (0.5556, 0.5001, 1.0)]
    [0.56, 0.5, 1.0]
    """
    step = 10.0 ** (math.floor(math.log10(percent)) - 1)
    return round(math.ceil(percent * ROUNDED_UP / step - 1e-9) * step, 9)
