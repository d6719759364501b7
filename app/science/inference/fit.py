"""Fitting what is usual to published compositions, with starting values that few data cannot overturn.

One weighted ridge regression of ln x on indicators of class, substance and kind of product and on the slopes of
crowding and of the use range (Hoerl and Kennard, Technometrics 12 (1970) 55, doi:10.1080/00401706.1970.10488634).
A penalty of w shrinks a level seen m times to m / (m + w) of its mean.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from app.science.inference.prior import USUAL_LENGTH, expected_log, has_water, use_middle
from app.science.inference.values import WATER, ClassPrior, Floats, ListedName, PriorTable

CLASS, NAME, BLEND, KIND = "class", "name", "blend", "kind"
CROWDING, ROLE, PULL = "crowding", "role", "pull"
PENALTIES = {CLASS: 6.0, NAME: 1.5, BLEND: 2.0, KIND: 12.0, CROWDING: 12.0, ROLE: 12.0, PULL: 6.0}
VARIANCE_WEIGHT = 6.0
WIDTH_WEIGHT = 80.0
ASSUMED_WEIGHT = 0.5
SMALLEST = 1e-6
ROUNDS = 4
STRAY_SHARE, STRAY_SHIFT, STRAY_SIGMA = 0.25, -1.5, 2.0  # preservatives carried in by another material
BODY_TAIL, BODY_WIDTH = 0.15, 2.3
STRAYING = frozenset({"preservative", "booster"})

Column = tuple[str, str]


@dataclass(frozen=True, slots=True)
class KnownList:
    """A printed list whose percentages are known, % w/w in printed order.

    ``exact`` is false for values where the share inside a blend was assumed; ``kind`` is the kind of product by the
    shipped words; lists with the same ``family`` come from one document or share half their names, those of one
    ``publisher`` from one site or book.
    """

    id: str
    product_type: str
    names: tuple[ListedName, ...]
    percents: tuple[float, ...]
    exact: tuple[bool, ...]
    above_line: int
    kind: str = ""
    family: int = 0
    publisher: str = ""


@dataclass(frozen=True, slots=True)
class _Value:
    """One amount of a list: ln x less what the starting values expect, its columns, weight, class and kind."""

    rest: float
    columns: tuple[tuple[Column, float], ...]
    weight: float
    prior: ClassPrior
    kind: str


def fit_priors(
    lists: Iterable[KnownList],
    starts: Mapping[str, ClassPrior],
    kind_starts: Mapping[tuple[str, str], float] | None = None,
) -> PriorTable:
    """Fit levels of classes, substances and kinds, crowding by role, and the pull of use ranges.

    Values whose share was assumed count half; a preserving substance far below its level counts by its chance of being
    meant to preserve, not carried in. Four rounds of weighting and fitting.

    Args:
        lists: compositions with known percentages.
        starts: starting values by class; ``crowding`` and ``use_pull`` of them are starting slopes.
        kind_starts: starting shifts of ln x by (kind, class).
    """
    begun = dict(kind_starts or {})
    values = [value for known in lists for value in _values(known, starts, begun)]
    sigma = {name: start.sigma for name, start in starts.items()}
    if not values:
        return PriorTable(dict(starts), kinds=begun)
    columns = list(dict.fromkeys(column for value in values for column, _ in value.columns))
    place = {column: number for number, column in enumerate(columns)}
    terms = [(row, place[term], amount) for row, value in enumerate(values) for term, amount in value.columns]
    rows, places, amounts = zip(*terms, strict=True)
    design = csr_array((amounts, (rows, places)), shape=(len(values), len(columns)))
    rest, given = np.array([v.rest for v in values]), np.array([v.weight for v in values])
    penalty = np.diag([PENALTIES[kind] for kind, _ in columns])
    weight, residual, found = given, rest, np.zeros(len(columns))
    for _ in range(ROUNDS):
        squares = (design.T @ design.multiply(weight[:, None])).toarray()
        found = np.linalg.solve(squares + penalty, design.T @ (weight * rest))
        residual = rest - design @ found
        sigma = _sigmas(values, residual, weight, starts)
        weight = given * _chance_of_meant(values, residual, sigma)
    level = dict(zip(columns, (float(v) for v in found), strict=True))
    shifts = dict(begun)
    for (column, name), shift in level.items():
        if column == KIND:
            kind, _, class_name = name.partition("|")
            shifts[kind, class_name] = shifts.get((kind, class_name), 0.0) + shift
    return PriorTable(
        {name: _fitted(start, level, sigma[name]) for name, start in starts.items()},
        {key: shift for (column, key), shift in level.items() if column in (NAME, BLEND)},
        shifts,
        _widths(values, residual, weight, sigma),
    )


def _values(
    known: KnownList, starts: Mapping[str, ClassPrior], kind_starts: Mapping[tuple[str, str], float]
) -> Iterable[_Value]:
    wet, crowd = has_water(known.names), math.log(len(known.names) / USUAL_LENGTH)
    for name, percent, exact in zip(known.names, known.percents, known.exact, strict=True):
        prior = starts[name.class_name]
        if prior.name == WATER:
            continue
        group = "bulk" if prior.bulk else "level"
        columns = [((CLASS, prior.name), 1.0), *([((NAME, name.key), 1.0)] if name.key else [])]
        columns += [((BLEND, name.key_in_blend), 1.0)] if name.key_in_blend else []
        columns += [((CROWDING, group), crowd), ((ROLE, prior.role), crowd)]
        columns += [((KIND, f"{known.kind}|{prior.name}"), 1.0)] if known.kind else []
        middle = use_middle(name)
        if middle is not None:
            columns.append(((PULL, group), middle - math.log(prior.median_percent)))
        expected = expected_log(name, prior, len(known.names), wet) + kind_starts.get((known.kind, prior.name), 0.0)
        weight = 1.0 if exact else ASSUMED_WEIGHT
        yield _Value(math.log(max(percent, SMALLEST)) - expected, tuple(columns), weight, prior, known.kind)


def _sigmas(
    values: Sequence[_Value], residual: Floats, weight: Floats, starts: Mapping[str, ClassPrior]
) -> dict[str, float]:
    """Shrink the variance of every class to its start with weight 6."""
    squares, weights = dict.fromkeys(starts, 0.0), dict.fromkeys(starts, 0.0)
    for value, off, w in zip(values, residual, weight, strict=True):
        squares[value.prior.name] += float(w * off**2)
        weights[value.prior.name] += float(w)
    return {
        name: math.sqrt((VARIANCE_WEIGHT * start.sigma**2 + squares[name]) / (VARIANCE_WEIGHT + weights[name]))
        for name, start in starts.items()
    }


def _chance_of_meant(values: Sequence[_Value], residual: Floats, sigma: Mapping[str, float]) -> Floats:
    """Return for each value the chance that it is the level the substance is used at, not one carried in."""
    width = np.array([sigma[v.prior.name] for v in values])
    stray = np.array([STRAY_SHARE if v.prior.name in STRAYING else 0.0 if v.prior.bulk else 0.01 for v in values])

    def bell(off: Floats, by: Floats) -> Floats:
        density: Floats = np.exp(-0.5 * (off / by) ** 2) / by
        return density

    meant = (1 - BODY_TAIL) * bell(residual, width) + BODY_TAIL * bell(residual, BODY_WIDTH * width)
    carried = bell(residual - STRAY_SHIFT, np.full(len(values), STRAY_SIGMA))
    chance: Floats = (1 - stray) * meant / ((1 - stray) * meant + stray * carried)
    return chance


def _fitted(start: ClassPrior, level: Mapping[Column, float], sigma: float) -> ClassPrior:
    group = "bulk" if start.bulk else "level"
    if start.name == WATER:
        return start
    return replace(
        start,
        median_percent=start.median_percent * math.exp(level.get((CLASS, start.name), 0.0)),
        sigma=sigma,
        crowding=start.crowding + level.get((CROWDING, group), 0.0) + level.get((ROLE, start.role), 0.0),
        use_pull=start.use_pull + level.get((PULL, group), 0.0),
        anchor_percent=start.median_percent,
    )


def _widths(values: Sequence[_Value], residual: Floats, weight: Floats, sigma: Mapping[str, float]) -> dict[str, float]:
    """Return the factor on sigma by kind of product, shrunk to 1 with the weight of 80 values."""
    squares: dict[str, float] = {}
    weights: dict[str, float] = {}
    for value, off, w in zip(values, residual, weight, strict=True):
        squares[value.kind] = squares.get(value.kind, 0.0) + float(w * (off / sigma[value.prior.name]) ** 2)
        weights[value.kind] = weights.get(value.kind, 0.0) + float(w)
    average = sum(squares.values()) / max(sum(weights.values()), SMALLEST)
    return {
        kind: math.sqrt((WIDTH_WEIGHT + total / average) / (WIDTH_WEIGHT + weights[kind]))
        for kind, total in squares.items()
        if kind
    }


def count_by_class(lists: Iterable[KnownList]) -> dict[str, int]:
    """Count the values of every class."""
    return dict(Counter(name.class_name for known in lists for name in known.names))
