"""The elastic linear programme: how far each statement would have to give for the rest to hold."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.science.inference.values import Floats, Integers, Known

CLAIM_COST, MAXIMUM_COST, ORDER_COST = 1.0, 2.0, 5.0
COSTS = {"claim": CLAIM_COST, "maximum": MAXIMUM_COST, "place": ORDER_COST}
NOTICEABLE = 1e-7
LARGEST = 1e4


@dataclass(frozen=True, slots=True)
class Slack:
    """The cheapest way out: the names whose claim, maximum or place has to give, and the amounts that then fit."""

    cost: float
    claims: tuple[int, ...]
    maxima: tuple[int, ...]
    places: tuple[int, ...]
    amounts: Floats


@dataclass(frozen=True, slots=True)
class _Bound:
    """``sum(coefficient * x) <= bound + slack``; the slack belongs to a statement of one name."""

    terms: tuple[tuple[int, float], ...]
    bound: float
    kind: str
    index: int


def cheapest_slack(known: Mapping[int, Known], maxima: Mapping[int, float], count: int, chain: Integers) -> Slack:
    """Find the least costly slack over every place of the 1 % line.

    Args:
        known: what is known by place, % w/w.
        maxima: legal maxima by place, % w/w.
        count: number of names.
        chain: the places that descend, in printed order.
    """
    stated = [_Bound(((i, -1.0),), -k.low, "claim", i) for i, k in known.items()]
    stated += [_Bound(((i, 1.0),), k.high, "claim", i) for i, k in known.items()]
    stated += [_Bound(((i, 1.0),), cap, "maximum", i) for i, cap in maxima.items()]
    solved = []
    for above in range(len(chain) + 1):
        head, rest = chain[:above], chain[above:]
        ordered = [_Bound(((int(b), 1.0), (int(a), -1.0)), 0.0, "place", int(b)) for a, b in pairwise(head)]
        ordered += [_Bound(((int(i), -1.0),), -1.0, "place", int(i)) for i in head]
        ordered += [_Bound(((int(i), 1.0),), 1.0, "place", int(i)) for i in rest]
        solved.append(_solve(stated + ordered, count))
    return min(solved, key=lambda slack: slack.cost)


def _solve(rows: list[_Bound], count: int) -> Slack:
    """Return the least costly slack at one place of the line; unknowns: x, then the slack of every row."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix

    width = count + len(rows)
    entries = [(r, i, c) for r, row in enumerate(rows) for i, c in row.terms]
    entries += [(r, count + r, -1.0) for r in range(len(rows))]
    places, columns, values = zip(*entries, strict=True) if entries else ((), (), ())
    matrix = csr_matrix((values, (places, columns)), shape=(len(rows), width))
    whole = np.concatenate((np.ones(count), np.zeros(len(rows))))[None, :]
    cost = np.concatenate((np.zeros(count), [COSTS[row.kind] for row in rows]))
    bounds = [(0.0, 100.0)] * count + [(0.0, LARGEST)] * len(rows)
    answer = linprog(cost, matrix, [r.bound for r in rows], whole, [100.0], bounds, method="highs")
    giving = [row for row, amount in zip(rows, answer.x[count:], strict=True) if amount > NOTICEABLE]
    found = {kind: tuple(sorted({r.index for r in giving if r.kind == kind})) for kind in COSTS}
    return Slack(float(answer.fun), found["claim"], found["maximum"], found["place"], answer.x[:count])
