"""Fitting the class priors to known compositions, with starting values that few data cannot overturn."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from app.science.inference.prior import has_water, list_shift
from app.science.inference.values import WATER, ClassPrior, ListedName, PriorTable

MEDIAN_WEIGHT = 3.0
VARIANCE_WEIGHT = 6.0
ASSUMED_WEIGHT = 0.5
SMALLEST = 1e-6


@dataclass(frozen=True, slots=True)
class KnownList:
    """A printed list whose percentages are known, % w/w in printed order.

    ``exact`` is false for values where the share inside a blend was assumed; ``thin`` marks watery products.
    """

    id: str
    product_type: str
    names: tuple[ListedName, ...]
    percents: tuple[float, ...]
    exact: tuple[bool, ...]
    above_line: int
    thin: bool = False


@dataclass(frozen=True, slots=True)
class _Value:
    class_name: str
    log: float
    weight: float


def fit_classes(lists: Iterable[KnownList], starts: Mapping[str, ClassPrior]) -> PriorTable:
    """Fit median and sigma of every class.

    The mean of ln x is shrunk to the start with weight 3, the variance with weight 6; values whose share was
    assumed count half. What the list brings (crowding, lack of water) is taken off first.
    """
    values = [value for known in lists for value in _values(known, starts)]
    return PriorTable(
        {name: _fitted(start, [v for v in values if v.class_name == name]) for name, start in starts.items()}
    )


def count_by_class(lists: Iterable[KnownList]) -> dict[str, int]:
    """Count the values of every class."""
    found: dict[str, int] = {}
    for known in lists:
        for name in known.names:
            found[name.class_name] = found.get(name.class_name, 0) + 1
    return found


def _values(known: KnownList, starts: Mapping[str, ClassPrior]) -> Iterable[_Value]:
    wet = has_water(known.names)
    for name, percent, exact in zip(known.names, known.percents, known.exact, strict=True):
        if name.class_name != WATER:
            shift = list_shift(starts[name.class_name], len(known.names), wet, known.thin and wet)
            log = math.log(max(percent, SMALLEST)) - shift
            yield _Value(name.class_name, log, 1.0 if exact else ASSUMED_WEIGHT)


def _fitted(start: ClassPrior, values: Sequence[_Value]) -> ClassPrior:
    weight = sum(v.weight for v in values)
    if not weight:
        return start
    total = sum(v.weight * v.log for v in values)
    mean = total / weight
    mu = (MEDIAN_WEIGHT * math.log(start.median_percent) + total) / (MEDIAN_WEIGHT + weight)
    spread = sum(v.weight * (v.log - mean) ** 2 for v in values)
    variance = (VARIANCE_WEIGHT * start.sigma**2 + spread) / (VARIANCE_WEIGHT + weight)
    return replace(start, median_percent=math.exp(mu), sigma=math.sqrt(variance))
