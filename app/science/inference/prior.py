"""What is usual for each name of a list, as masses on the grid.

The prior of a name is ln x ~ (1 - e) N(mu, s^2) + e N(mu, (f s)^2): a log-normal with a wide tail, because a share
of all lists carries a name in for an unusual reason. Water is q.s. and nearly flat: x/100 ~ Beta(0.7, 0.7).
The constants were fitted on a corpus of published compositions (see ``inference_classes.csv``).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, ndtr

from app.science.inference.values import PLANT_WATER, WATER, ClassPrior, Floats, ListedName, PriorTable

TAIL_SHARE = 0.10
TAIL_WIDTH = 3.0
WATER_SHAPE = 0.7
USUAL_LENGTH = 12
CROWDING = 0.6
CLASS_WEIGHT = 0.6
BELOW_MIDDLE = 0.1
MISSING_LOW = 20.0
SMALLEST_SIGMA = 0.35
NARROWER = 0.8
WATERLESS = 0.3
THIN = -0.8
RICHNESS = np.array([-1.3, 0.0, 1.3]) * 0.6
RICHNESS_WEIGHTS = np.array([0.296, 0.408, 0.296])
FAINTEST = 1e-30
CLAIM_WIDTH = 1.02


@dataclass(frozen=True, slots=True)
class Usual:
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
    """Say whether water or plant water stands in the first half of the list."""
    first = names[: (len(names) + 1) // 2]
    return any(name.class_name in (WATER, PLANT_WATER) for name in first)


def list_shift(prior: ClassPrior, length: int, wet: bool, thin: bool = False) -> float:
    """Give the shift of ln x that the list brings.

    Long lists share the room, waterless ones have more of it, and watery products such as mists carry less of
    everything that comes by the per cent (common practice).
    """
    if prior.name == WATER:
        return 0.0
    shift = -CROWDING * math.log(length / USUAL_LENGTH)
    if not wet and not prior.pinned:
        shift += WATERLESS
    return shift + THIN if thin and prior.bulk else shift


def usual_amounts(names: Sequence[ListedName], table: PriorTable, *, thin: bool = False) -> Usual:
    """Give the prior of every name in this list; in a ``thin`` watery product all bulk classes are lower."""
    wet = has_water(names)
    pairs = [_log_normal(name, table) for name in names]
    shifts = [list_shift(table.of(n.class_name), len(names), wet, thin and wet) for n in names]
    return Usual(
        np.array([mu for mu, _ in pairs]) + np.array(shifts),
        np.array([sigma for _, sigma in pairs]),
        np.array([table.of(name.class_name).bulk for name in names]),
        np.array([name.class_name == WATER for name in names]),
    )


def _log_normal(name: ListedName, table: PriorTable) -> tuple[float, float]:
    """Blend the class with the use range of the substance, when it has one."""
    usual = table.of(name.class_name)
    mu, sigma = math.log(usual.median_percent), usual.sigma
    if not name.use_high:
        return mu, sigma
    low = name.use_low or name.use_high / MISSING_LOW
    middle = 0.5 * math.log(low * name.use_high) - BELOW_MIDDLE
    return CLASS_WEIGHT * mu + (1 - CLASS_WEIGHT) * middle, max(SMALLEST_SIGMA, NARROWER * sigma)


def richness_nodes(names: Sequence[ListedName]) -> Nodes:
    """Give the shared shifts to integrate over: three where the list has water, none elsewhere."""
    if any(name.class_name == WATER for name in names):
        return Nodes(RICHNESS, RICHNESS_WEIGHTS)
    return Nodes(np.zeros(1), np.ones(1))


def share_below(usual: Usual, percent: Floats, shift: float = 0.0) -> Floats:
    """Give the prior probability of each name to be at most each percentage; shape (names, points)."""
    with np.errstate(divide="ignore"):
        logs = np.log(percent)
    deviation = (logs - (usual.mu + shift * usual.bulk)[:, None]) / usual.sigma[:, None]
    shares = (1 - TAIL_SHARE) * ndtr(deviation) + TAIL_SHARE * ndtr(deviation / TAIL_WIDTH)
    if usual.water.any():
        shares[usual.water] = betainc(WATER_SHAPE, WATER_SHAPE, np.clip(percent[usual.water] / 100, 0.0, 1.0))
    return np.asarray(shares, dtype=np.float64)


def cell_masses(usual: Usual, edges: Floats, limits: tuple[Floats, Floats], nodes: Nodes) -> Floats:
    """Give the prior mass of every cell within each name's limits; shape (nodes, names, cells).

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


def _pinned(usual: Usual, edges: Floats, value: Floats, nodes: Nodes) -> Floats:
    around = np.stack((value / CLAIM_WIDTH, value * CLAIM_WIDTH), axis=1)
    weight = np.stack([np.diff(share_below(usual, around, s), axis=1)[:, 0] for s in nodes.shifts])
    masses = np.zeros((len(nodes.shifts), len(value), len(edges) - 1))
    for side in ("left", "right"):  # a value on an edge, above all 1 %, belongs to the cells on either side
        place = np.clip(np.searchsorted(edges, value, side=side) - 1, 0, len(edges) - 2)
        masses[:, np.arange(len(value)), place] = np.maximum(weight, FAINTEST)
    return masses
