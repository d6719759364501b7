"""The elastic linear programme: how far each statement would have to give for the rest to hold."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

from app.science.inference.values import Floats, Integers, Known

CLAIM_COST, MAXIMUM_COST, ORDER_COST = 1.0, 2.0, 5.0
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
class _Row:
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
    stated = _stated(known, maxima)
    solved = (_solve(stated + _ordered(chain, above), count) for above in range(len(chain) + 1))
    return min(solved, key=lambda slack: slack.cost)


def _stated(known: Mapping[int, Known], maxima: Mapping[int, float]) -> list[_Row]:
    rows = [_Row(((i, -1.0),), -k.low, "claim", i) for i, k in known.items()]
    rows += [_Row(((i, 1.0),), k.high, "claim", i) for i, k in known.items()]
    return rows + [_Row(((i, 1.0),), cap, "maximum", i) for i, cap in maxima.items()]


def _ordered(chain: Integers, above: int) -> list[_Row]:
    head, rest = chain[:above], chain[above:]
    rows = [_Row(((int(b), 1.0), (int(a), -1.0)), 0.0, "place", int(b)) for a, b in pairwise(head)]
    rows += [_Row(((int(i), -1.0),), -1.0, "place", int(i)) for i in head]
    return rows + [_Row(((int(i), 1.0),), 1.0, "place", int(i)) for i in rest]


COSTS = {"claim": CLAIM_COST, "maximum": MAXIMUM_COST, "place": ORDER_COST}


def _solve(rows: list[_Row], count: int) -> Slack:
    width = count + len(rows)
    entries = [(r, i, c) for r, row in enumerate(rows) for i, c in row.terms]
    entries += [(r, count + r, -1.0) for r in range(len(rows))]
    places, columns, values = zip(*entries, strict=True) if entries else ((), (), ())
    matrix = csr_matrix((values, (places, columns)), shape=(len(rows), width))
    whole = np.concatenate((np.ones(count), np.zeros(len(rows))))[None, :]
    cost = np.concatenate((np.zeros(count), [COSTS[row.kind] for row in rows]))
    bounds = [(0.0, 100.0)] * count + [(0.0, LARGEST)] * len(rows)
    answer = linprog(cost, matrix, [r.bound for r in rows], whole, [100.0], bounds, method="highs")
    return _slack(rows, count, answer.x, float(answer.fun))


def _slack(rows: list[_Row], count: int, solution: Floats, cost: float) -> Slack:
    giving = [row for row, amount in zip(rows, solution[count:], strict=True) if amount > NOTICEABLE]
    found = {kind: tuple(sorted({r.index for r in giving if r.kind == kind})) for kind in COSTS}
    return Slack(cost, found["claim"], found["maximum"], found["place"], solution[:count])
