"""A printed list in; bounds, bands and estimates out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science.errors import Invalid
from app.science.inference.conflicts import Resolved, resolve_conflicts, rules_of
from app.science.inference.grid import grid
from app.science.inference.posterior import Belief, ListConstraints, believe
from app.science.inference.prior import Nodes, UsagePrior, cell_masses, richness_nodes, usual_amounts
from app.science.inference.summary import closed_to_whole, quantiles, stretched
from app.science.inference.values import Estimate, Floats, Inference, Known, ListedName, PriorTable

MOST_NAMES = 200
CELL = 0.043  # relative width of a cell above the line: no estimate there is sharper than that


@dataclass(frozen=True, slots=True)
class _Points:
    """Estimate and ends of the band of every name, % w/w."""

    low: Floats
    middle: Floats
    high: Floats


def infer(
    names: Sequence[ListedName],
    table: PriorTable,
    known: Mapping[int, Known] | None = None,
    doubtful: frozenset[int] = frozenset(),
    *,
    kind: str = "",
) -> Inference:
    """Work out what a printed list allows and what is likely.

    Args:
        names: the names in printed order, each once.
        table: what is usual, as fitted.
        known: what the maker knows, by place in the list (% w/w).
        doubtful: places of names that need not be in the product at all (shades after 'may contain').
        kind: the kind of product, as the table names it; empty when it is not known.

    Raises:
        Invalid: when the list is empty or longer than 200 names.
    """
    if not 1 <= len(names) <= MOST_NAMES:
        raise Invalid("ingredients", f"write between 1 and {MOST_NAMES} names")
    resolved = resolve_conflicts(rules_of(names, known or {}))
    usual, nodes = usual_amounts(names, table, kind=kind), richness_nodes(names)
    counted = np.array([i not in doubtful for i in range(len(names))])
    belief = _belief(resolved, usual, nodes, counted)
    points = _points(belief, resolved, usual, counted)
    return _answer(names, resolved, points, belief)


def _belief(resolved: Resolved, usual: UsagePrior, nodes: Nodes, counted: np.ndarray) -> Belief | None:
    low, high = resolved.rules.limits()
    return believe(usual, nodes, ListConstraints(low, high, resolved.rules.places(), counted, resolved.bounds.feasible))


def _points(belief: Belief | None, resolved: Resolved, usual: UsagePrior, counted: np.ndarray) -> _Points:
    masses, edges = _by_rules(resolved, usual) if belief is None else (belief.masses, belief.edges)
    if belief is not None and not counted.all():
        masses = np.where(counted[:, None], masses, _by_rules(resolved, usual)[0])
    points = stretched(quantiles(masses, edges))
    bounds = resolved.bounds
    clipped = np.clip(points, bounds.low[:, None], bounds.high[:, None])
    width = np.where(counted, np.maximum(clipped[:, 2] - clipped[:, 0], CELL * clipped[:, 1]), 0.0)
    middle = _closed(clipped[:, 1], width, resolved, counted)
    return _Points(np.minimum(clipped[:, 0], middle), middle, np.maximum(clipped[:, 2], middle))


def _closed(middle: Floats, width: Floats, resolved: Resolved, counted: np.ndarray) -> Floats:
    low, high = resolved.bounds.low, resolved.bounds.high
    closed = middle.copy()
    closed[counted] = closed_to_whole(middle[counted], width[counted], low[counted], high[counted])
    return closed


def _by_rules(resolved: Resolved, usual: UsagePrior) -> tuple[Floats, Floats]:
    """Cut each prior to the hard bounds alone."""
    edges = grid().edges
    limits = (resolved.bounds.low, resolved.bounds.high)
    return cell_masses(usual, np.concatenate(([0.0], edges[1:])), limits, Nodes(np.zeros(1), np.ones(1)))[0], edges


def _line(resolved: Resolved, belief: Belief | None, count: int) -> tuple[float, ...]:
    feasible = resolved.bounds.feasible
    shares = feasible / feasible.sum() if belief is None else belief.line
    line = np.zeros(count + 1)
    line[: len(shares)] = shares
    return tuple(float(p) for p in line)


def _answer(names: Sequence[ListedName], resolved: Resolved, points: _Points, belief: Belief | None) -> Inference:
    line = _line(resolved, belief, len(names))
    columns = (resolved.bounds.low, resolved.bounds.high, points.middle, points.low, points.high)
    rows = tuple(
        Estimate(name.name, *(float(v) for v in values)) for name, *values in zip(names, *columns, strict=True)
    )
    return Inference(rows, int(np.argmax(line)), line, resolved.clashes, belief is None)
