"""The posterior of a whole list by dynamic programme: no random numbers, so the same list gives the same answer."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from app.science.inference.below_line import GOES_ON, below_block, below_marginals, sum_laws
from app.science.inference.draws import DrawSource
from app.science.inference.free_names import amount_laws, free_marginals, sum_of
from app.science.inference.grid import (
    SMALLEST,
    WIDTH,
    grid,
    shift_by,
    spread_over_sums,
    usual_shift,
    usual_spread,
)
from app.science.inference.messages import Above, downward, reachable_rows, upward
from app.science.inference.prior import Nodes, UsagePrior, cell_masses
from app.science.inference.values import Floats, Integers

BELOW_FLOOR = 0.1
FARTHEST = 200.0  # squared deviations: amounts farther off keep a weight of e^-100, so that nothing becomes impossible


@dataclass(frozen=True, slots=True)
class Belief:
    """Mass per cell of every name (n, cells) on ``edges`` (% w/w), and the probability of every k (0..m).

    ``source`` is what whole compositions are drawn from.
    """

    masses: Floats
    edges: Floats
    line: Floats
    source: DrawSource


@dataclass(frozen=True, slots=True)
class _Laid:
    """The prior of one list laid on the grid."""

    chain: Integers
    beside: Integers
    above: Above
    below: Floats
    free: Floats
    below_values: Floats
    free_values: Floats


@dataclass(frozen=True, slots=True)
class Tilt:
    """A bell over the amount of one name: centre and standard deviation, % w/w."""

    centre: float
    sigma: float

    def __call__(self, percent: Floats) -> Floats:
        """Return the weight of each amount, 1 at the centre, never quite 0."""
        weight: Floats = np.exp(-0.5 * np.minimum(((percent - self.centre) / self.sigma) ** 2, FARTHEST))
        return weight


@dataclass(frozen=True, slots=True)
class Floor:
    """Amounts (% w/w) below ``least`` are a tenth as likely as they would be."""

    least: float

    def __call__(self, percent: Floats) -> Floats:
        """Return the weight of each amount."""
        weight: Floats = np.where(percent < self.least, BELOW_FLOOR, 1.0)
        return weight


@dataclass(frozen=True, slots=True)
class ListConstraints:
    """What is certain of a list: smallest and largest % w/w of every name, and how the names stand.

    ``goes_on`` is the chance that the order goes on descending below the line; ``tilts`` weighs the amounts of a name
    by its place, as what was measured makes them likely.
    ``chain`` are the places that descend, in printed order; ``counted`` tells for each name whether it is certainly
    in the product (shades of a palette need not be); ``feasible`` for each k from 0 to m whether the bounds allow it.
    """

    low: Floats
    high: Floats
    chain: Integers
    counted: np.ndarray
    feasible: np.ndarray
    goes_on: float = GOES_ON
    tilts: Mapping[int, Tilt | Floor] = field(default_factory=dict)


def believe(usual: UsagePrior, nodes: Nodes, constraints: ListConstraints) -> Belief | None:
    """Compute the posterior of every name given the printed order.

    Args:
        usual: prior of each name.
        nodes: shared shifts of the bulk classes and their weights.
        constraints: limits and order.

    Returns:
        The belief, or None when the grid is too coarse for limits this tight.
    """
    laid = _lay(usual, nodes, constraints)
    block = below_block(laid.below, constraints.goes_on)
    free_laws = amount_laws(laid.free, constraints.low[laid.beside], constraints.high[laid.beside])
    laws = sum_laws(laid.below, laid.below_values, sum_of(free_laws))
    both = np.where(constraints.feasible[None, :], block.both, -np.inf)
    found = downward(laid.above, both, laws)
    logs = found.evidence + np.log(nodes.weights)[:, None]
    if not np.isfinite(logs.max()):
        return None
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    over = upward(laid.above, found, both, laws, weight).sum(axis=0)
    under = below_marginals(block, laid.below, weight).sum(axis=0)
    beside = np.zeros((0, laid.free.shape[2]))
    if len(laid.beside):
        nothing = np.zeros((len(weight), WIDTH))
        nothing[:, 0] = 1.0
        block_only = sum_laws(laid.below, laid.below_values, nothing)
        beside = free_marginals(laid.free, laid.free_values, free_laws, block_only, found, weight)
    count, edges = len(constraints.low), np.concatenate(([SMALLEST], grid().edges[1:]))
    masses = np.zeros((count, len(edges) - 1))
    masses[laid.chain] = np.concatenate((under, over), axis=1)
    masses[laid.beside] = beside
    source = DrawSource(laid.above, found, block, laid.below, laws, weight, laid.chain, laid.beside, beside, count)
    return Belief(masses, edges, weight.sum(axis=0), source)


def _lay(usual: UsagePrior, nodes: Nodes, constraints: ListConstraints) -> _Laid:
    cells, low, high, chain = grid(), constraints.low, constraints.high, constraints.chain
    masses = cell_masses(usual, np.concatenate(([0.0], cells.edges[1:])), (low, high), nodes)
    for place, tilt in constraints.tilts.items():
        masses[:, place] *= tilt(cells.values)[None, :]
    beside = np.setdiff1d(np.flatnonzero(constraints.counted), chain)
    size = len(cells.below)
    # The shift and the spread of the grid itself serve every name whose limits cut none of its cells.
    shifts, first = [], usual_spread()
    for i in chain:
        values = np.clip(cells.above, low[i], high[i])
        reachable = (cells.edges_above[1:] > low[i]) & (cells.edges_above[:-1] < high[i])
        uncut = np.array_equal(values[reachable], cells.above[reachable])
        shifts.append(usual_shift() if uncut else shift_by(values))
    if len(chain) and (low[chain[0]] > 1 or high[chain[0]] < 100):
        first = spread_over_sums(cells.edges_above, low[chain[0]], high[chain[0]])
    return _Laid(
        chain,
        beside,
        Above(masses[:, chain, size:], tuple(shifts), reachable_rows(cells.edges_above, len(chain)), first),
        masses[:, chain, :size],
        masses[:, beside],
        np.clip(cells.below, low[chain, None], high[chain, None]),
        np.clip(cells.values, low[beside, None], high[beside, None]),
    )
