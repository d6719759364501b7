"""A printed list in; bounds, bands and estimates out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.science.errors import Invalid
from app.science.inference.below_line import GOES_ON
from app.science.inference.conflicts import Resolved, resolve_conflicts, rules_of
from app.science.inference.draws import draw_compositions
from app.science.inference.evidence import LinearMeasurement, Measurement, tilt_for, weighted_quantiles, weights_of
from app.science.inference.grid import grid
from app.science.inference.posterior import Belief, Floor, ListConstraints, Tilt, believe
from app.science.inference.prior import Nodes, UsagePrior, cell_masses, richness_nodes, usual_amounts
from app.science.inference.summary import BAND, closed_to_whole, quantiles, stretched
from app.science.inference.values import Estimate, Floats, Inference, Known, ListedName, PriorTable

MOST_NAMES = 200
CELL = 0.043  # relative width of a cell above the line: no estimate there is sharper than that
FIRST_DRAWS, DRAWS = 300, 2500
FARTHEST_FIT = -18.0  # six standard deviations from the nearest of a few hundred compositions


@dataclass(frozen=True, slots=True)
class Observed:
    """What was seen and measured of the product: measurements, and whether the order goes on below the line (0..1)."""

    measurements: tuple[Measurement, ...] = ()
    goes_on: float = GOES_ON


@dataclass(frozen=True, slots=True)
class Worked:
    """An answer with the belief it rests on; ``draws`` are whole compositions with their ``weight``.

    Both are empty where the bounds were too tight for the posterior. ``unfitting`` names measurements that no
    composition of this list comes near; they are set aside.
    """

    inference: Inference
    draws: Floats
    weight: Floats
    unfitting: tuple[str, ...] = ()


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
    observed: Observed | None = None,
) -> Inference:
    """Work out what a printed list allows and what is likely.

    Args:
        names: the names in printed order, each once.
        table: what is usual, as fitted.
        known: what the maker knows, by place in the list (% w/w).
        doubtful: places of names that need not be in the product at all (shades after 'may contain').
        kind: the kind of product, as the table names it; empty when it is not known.
        observed: what was seen and measured.

    Raises:
        Invalid: when the list is empty or longer than 200 names.
    """
    return work_out(names, table, known, doubtful, kind=kind, observed=observed, with_draws=False).inference


def work_out(
    names: Sequence[ListedName],
    table: PriorTable,
    known: Mapping[int, Known] | None = None,
    doubtful: frozenset[int] = frozenset(),
    *,
    kind: str = "",
    observed: Observed | None = None,
    with_draws: bool = True,
) -> Worked:
    """Answer as ``infer``, with whole compositions drawn from the belief; arguments and errors as there."""
    if not 1 <= len(names) <= MOST_NAMES:
        raise Invalid("ingredients", f"enter between 1 and {MOST_NAMES} names")
    seen = observed or Observed()
    resolved = resolve_conflicts(rules_of(names, known or {}))
    usual, nodes = usual_amounts(names, table, kind=kind), richness_nodes(names)
    counted = np.array([i not in doubtful for i in range(len(names))])
    low, high = resolved.rules.limits()
    floors = {i: Floor(name.printable_from) for i, name in enumerate(names) if name.printable_from}
    constraints = ListConstraints(
        low, high, resolved.rules.places(), counted, resolved.bounds.feasible, seen.goes_on, floors
    )
    belief = believe(usual, nodes, constraints)
    draws, weight = np.zeros((0, len(names))), np.zeros(0)
    unfitting: tuple[str, ...] = ()
    if belief is not None and (seen.measurements or with_draws):
        first = draw_compositions(belief.source, FIRST_DRAWS) if seen.measurements else draws
        # A measurement far from everything the list allows is set aside.
        near = tuple(one for one in seen.measurements if one.log_likelihood(first).max() > FARTHEST_FIT)
        unfitting = tuple(one.name for one in seen.measurements if not any(one is kept for kept in near))
        seen = replace(seen, measurements=near)
        belief, tilts = _tilted(belief, usual, nodes, constraints, (seen, first))
        draws = np.clip(draw_compositions(belief.source, DRAWS), resolved.bounds.low, resolved.bounds.high)
        weight = weights_of(seen.measurements, draws, tilts)
    raw = weighted_quantiles(draws, weight, BAND) if seen.measurements and len(draws) else None
    points = _points(belief, resolved, usual, counted, raw)
    return Worked(_answer(names, resolved, points, belief), draws, weight, unfitting)


def _tilted(
    belief: Belief, usual: UsagePrior, nodes: Nodes, constraints: ListConstraints, seen: tuple[Observed, Floats]
) -> tuple[Belief, Mapping[int, Tilt]]:
    """Lay the measured sums on the names that carry them, so that the draws fall where the measurement is."""
    observed, draws = seen
    sums = [one for one in observed.measurements if isinstance(one, LinearMeasurement)]
    if not sums:
        return belief, {}
    tilts = dict(found for one in sums if (found := tilt_for(one, draws)))
    again = believe(usual, nodes, replace(constraints, tilts={**constraints.tilts, **tilts}))
    return (again, tilts) if again is not None else (belief, {})


def _points(
    belief: Belief | None, resolved: Resolved, usual: UsagePrior, counted: np.ndarray, raw: Floats | None
) -> _Points:
    masses, edges = _by_rules(resolved, usual) if belief is None else (belief.masses, belief.edges)
    if belief is not None and not counted.all():
        masses = np.where(counted[:, None], masses, _by_rules(resolved, usual)[0])
    found = quantiles(masses, edges)
    points = stretched(found if raw is None else np.where(counted[:, None], raw, found))
    bounds = resolved.bounds
    clipped = np.clip(points, bounds.low[:, None], bounds.high[:, None])
    width = np.where(counted, np.maximum(clipped[:, 2] - clipped[:, 0], CELL * clipped[:, 1]), 0.0)
    middle = clipped[:, 1].copy()
    middle[counted] = closed_to_whole(middle[counted], width[counted], bounds.low[counted], bounds.high[counted])
    return _Points(np.minimum(clipped[:, 0], middle), middle, np.maximum(clipped[:, 2], middle))


def _by_rules(resolved: Resolved, usual: UsagePrior) -> tuple[Floats, Floats]:
    """Cut each prior to the hard bounds alone."""
    edges = grid().edges
    limits = (resolved.bounds.low, resolved.bounds.high)
    return cell_masses(usual, np.concatenate(([0.0], edges[1:])), limits, Nodes(np.zeros(1), np.ones(1)))[0], edges


def _answer(names: Sequence[ListedName], resolved: Resolved, points: _Points, belief: Belief | None) -> Inference:
    feasible, line = resolved.bounds.feasible, np.zeros(len(names) + 1)
    shares = feasible / feasible.sum() if belief is None else belief.line
    line[: len(shares)] = shares
    columns = (resolved.bounds.low, resolved.bounds.high, points.middle, points.low, points.high)
    rows = tuple(
        Estimate(name.name, *(float(v) for v in values)) for name, *values in zip(names, *columns, strict=True)
    )
    return Inference(rows, int(np.argmax(line)), tuple(float(p) for p in line), resolved.clashes, belief is None)
