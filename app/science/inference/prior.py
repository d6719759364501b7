"""What is usual for each name of a list, as masses on the grid.

The prior of a name is ln x ~ (1 - e) N(mu, s^2) + e N(mu, (f s)^2): a log-normal with a wide tail, because a share
of all lists carries a name in for an unusual reason. Water is q.s. and nearly flat: x/100 ~ Beta(0.7, 0.7).
The constants were fitted on a corpus of published compositions (see ``inference_classes.csv``).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.science.inference.values import PLANT_WATER, WATER, ClassPrior, Floats, ListedName, PriorTable

TAIL_SHARE = 0.15
TAIL_WIDTH = 2.3
WATER_SHAPE = 0.7
USUAL_LENGTH = 12
BELOW_MIDDLE = 0.1
MISSING_LOW = 20.0
SMALLEST_SIGMA = 0.35
NARROWEST, WIDEST = 0.65, 1.5
UNSEEN_WIDER = 1.07
WATERLESS = 0.3
RICHNESS = np.array([-1.3, 0.0, 1.3]) * 0.3
RICHNESS_WEIGHTS = np.array([0.296, 0.408, 0.296])
FAINTEST = 1e-30
CLAIM_WIDTH = 1.02


@dataclass(frozen=True, slots=True)
class UsagePrior:
    """Parameters of the prior, one a name: ln of the median (% w/w), sigma, whether bulk, whether water."""

    mu: Floats
    sigma: Floats
    bulk: np.ndarray
    water: np.ndarray


@dataclass(frozen=True, slots=True)
class Nodes:
    """Values of the shared shift of a list's bulk classes (natural logarithm) and their weights."""

    shifts: Floats
    weights: Floats


def has_water(names: Sequence[ListedName]) -> bool:
    """Return whether water or plant water stands in the first half of the list."""
    first = names[: (len(names) + 1) // 2]
    return any(name.class_name in (WATER, PLANT_WATER) for name in first)


def use_middle(name: ListedName) -> float | None:
    """Return ln of the middle of a use range (% w/w), a little below the geometric one; None without a range."""
    if not name.use_high:
        return None
    return 0.5 * math.log((name.use_low or name.use_high / MISSING_LOW) * name.use_high) - BELOW_MIDDLE


def expected_log(name: ListedName, prior: ClassPrior, length: int, wet: bool) -> float:
    """Return ln of the usual % w/w before the name's own level and the kind of product.

    ln m + c ln(n / 12) + u (middle of the use range - ln anchor) + 0.3 in lists without water. Long lists share the
    room; lists without water have more of it (common practice; c and u fitted).
    """
    if prior.name == WATER:
        return math.log(prior.median_percent)
    log = math.log(prior.median_percent) + prior.crowding * math.log(length / USUAL_LENGTH)
    middle = use_middle(name)
    if middle is not None:
        log += prior.use_pull * (middle - math.log(prior.anchor_percent or prior.median_percent))
    return log + (WATERLESS if not wet and not prior.pinned else 0.0)


def range_width(name: ListedName) -> float:
    """Return the factor on sigma: substances with a narrow use range vary less, with a wide one more."""
    if not name.use_high:
        return 1.0
    span = math.log(name.use_high / (name.use_low or name.use_high / MISSING_LOW))
    return min(WIDEST, max(NARROWEST, math.sqrt(math.sqrt(max(span, 0.0) / 2))))


def usual_amounts(names: Sequence[ListedName], table: PriorTable, *, kind: str = "") -> UsagePrior:
    """Return the prior of every name in this list; ``kind`` is a kind of product of the table, if it is known."""
    wet = has_water(names)
    priors = [table.of(name.class_name) for name in names]
    mu = [
        expected_log(name, prior, len(names), wet)
        + table.names.get(name.key, 0.0)
        + table.names.get(name.key_in_blend, 0.0)
        + table.kinds.get((kind, prior.name), 0.0)
        for name, prior in zip(names, priors, strict=True)
    ]
    sigma = [
        max(
            SMALLEST_SIGMA,
            prior.sigma
            * range_width(name)
            * table.widths.get(kind, 1.0)
            * (1.0 if name.key in table.names else UNSEEN_WIDER),
        )
        for name, prior in zip(names, priors, strict=True)
    ]
    return UsagePrior(
        np.array(mu),
        np.array(sigma),
        np.array([prior.bulk for prior in priors]),
        np.array([name.class_name == WATER for name in names]),
    )


def richness_nodes(names: Sequence[ListedName]) -> Nodes:
    """Return the shared shifts to integrate over: three where the list has water, none elsewhere."""
    if any(name.class_name == WATER for name in names):
        return Nodes(RICHNESS, RICHNESS_WEIGHTS)
    return Nodes(np.zeros(1), np.ones(1))


def share_below(usual: UsagePrior, percent: Floats, shift: float = 0.0) -> Floats:
    """Return the prior probability of each name to be at most each percentage; shape (names, points)."""
    from scipy.special import betainc, ndtr

    with np.errstate(divide="ignore"):
        logs = np.log(percent)
    deviation = (logs - (usual.mu + shift * usual.bulk)[:, None]) / usual.sigma[:, None]
    shares = (1 - TAIL_SHARE) * ndtr(deviation) + TAIL_SHARE * ndtr(deviation / TAIL_WIDTH)
    if usual.water.any():
        shares[usual.water] = betainc(WATER_SHAPE, WATER_SHAPE, np.clip(percent[usual.water] / 100, 0.0, 1.0))
    return np.asarray(shares, dtype=np.float64)


def cell_masses(usual: UsagePrior, edges: Floats, limits: tuple[Floats, Floats], nodes: Nodes) -> Floats:
    """Return the prior mass of every cell within each name's limits; shape (nodes, names, cells).

    A name stated exactly has its whole mass in the one cell that holds the stated value.
    """
    low, high = limits
    cut = np.clip(edges[None, :], low[:, None], high[:, None])
    exact = high - low <= 1e-12 * np.maximum(high, 1e-300)
    masses = np.stack([np.diff(share_below(usual, cut, shift), axis=1) for shift in nodes.shifts])
    masses = np.where((np.diff(cut, axis=1) > 0)[None], np.maximum(masses, FAINTEST), 0.0)
    if exact.any():
        masses[:, exact] = _pinned(usual, edges, low, nodes)[:, exact]
    return masses


def _pinned(usual: UsagePrior, edges: Floats, value: Floats, nodes: Nodes) -> Floats:
    around = np.stack((value / CLAIM_WIDTH, value * CLAIM_WIDTH), axis=1)
    weight = np.stack([np.diff(share_below(usual, around, s), axis=1)[:, 0] for s in nodes.shifts])
    masses = np.zeros((len(nodes.shifts), len(value), len(edges) - 1))
    for side in ("left", "right"):  # a value on an edge, above all 1 %, belongs to the cells on either side
        place = np.clip(np.searchsorted(edges, value, side=side) - 1, 0, len(edges) - 2)
        masses[:, np.arange(len(value)), place] = np.maximum(weight, FAINTEST)
    return masses
