"""The grids on which the posterior is computed: values above the line, values below it, running sums.

Log-spaced values because one list spans eight orders of magnitude; the sum on even steps because sums add.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from app.science.inference.values import Floats, Integers

ABOVE = 110
BELOW = 90
STEP = 0.4
BINS = 251
WIDTH = BINS + 1  # the last column stays zero, so that a shift out of range reads nothing
SMALLEST = 1e-6
POINTS = 16


@dataclass(frozen=True, slots=True)
class Grid:
    """Cell edges and the value that stands for each cell, in % w/w, ascending."""

    edges_above: Floats
    edges_below: Floats
    above: Floats
    below: Floats

    @property
    def edges(self) -> Floats:
        """All edges, below and above the line, shape (201,)."""
        return np.concatenate((self.edges_below, self.edges_above[1:]))

    @property
    def values(self) -> Floats:
        """The value of every cell, below and above the line, shape (200,)."""
        return np.concatenate((self.below, self.above))


@dataclass(frozen=True, slots=True)
class Shift:
    """Where a message is read when the running sum moves by the value of each row; a value falls between two bins."""

    down: tuple[Integers, Integers]
    up: tuple[Integers, Integers]
    near: Floats
    far: Floats


@cache
def grid() -> Grid:
    """Return the grid: 110 cells from 1 to 100 %, 90 cells from 0.000001 to 1 %."""
    edges_above = np.geomspace(1.0, 100.0, ABOVE + 1)
    edges_below = np.geomspace(SMALLEST, 1.0, BELOW + 1)
    return Grid(edges_above, edges_below, _middles(edges_above), _middles(edges_below))


def _middles(edges: Floats) -> Floats:
    middles: Floats = np.sqrt(edges[1:] * edges[:-1])
    return middles


def shift_by(values: Floats) -> Shift:
    """Prepare the shift of a message with one row a value (% w/w), rows of ``WIDTH`` sums each."""
    exact = values / STEP
    whole = np.floor(exact).astype(np.int64)
    share = (exact - whole)[:, None]
    rows = (np.arange(len(values)) * WIDTH)[:, None]
    sums = np.arange(WIDTH)[None, :]
    down = (_inside(rows, sums + whole[:, None], sums), _inside(rows, sums + whole[:, None] + 1, sums))
    up = (_inside(rows, sums - whole[:, None], sums), _inside(rows, sums - whole[:, None] - 1, sums))
    return Shift(down, up, 1.0 - share, share)


def _inside(rows: Integers, wanted: Integers, sums: Integers) -> Integers:
    """Flat places; anything outside the range of sums points at the zero column."""
    good = (wanted >= 0) & (wanted < BINS) & (sums < BINS)
    places: Integers = (rows + np.where(good, wanted, BINS)).ravel()
    return places


@cache
def usual_shift() -> Shift:
    """Return the shift of the grid's own values above the line."""
    return shift_by(grid().above)


def move(message: Floats, places: tuple[Integers, Integers], shift: Shift) -> Floats:
    """Read a message of shape (nodes, rows, WIDTH) at shifted sums, linearly between two bins."""
    nodes, rows, width = message.shape
    flat, size = message.reshape(nodes, -1), rows * width
    near = flat.take(places[0][:size], axis=1).reshape(message.shape)
    near *= shift.near[:rows]
    far = flat.take(places[1][:size], axis=1).reshape(message.shape)
    far *= shift.far[:rows]
    near += far
    return near


def spread_over_sums(edges: Floats, low: float = 0.0, high: float = 100.0) -> Floats:
    """Lay the amounts inside each cell on the sum bins, each row summing to 1; shape (cells, WIDTH).

    Amounts are even in the logarithm inside a cell, and cut to the limits (% w/w).
    """
    parts = (np.arange(POINTS) + 0.5) / POINTS
    bottom = np.maximum(edges[:-1], SMALLEST)[:, None]
    inside = np.clip(bottom * (edges[1:, None] / bottom) ** parts[None, :], low, high)
    exact = inside / STEP
    whole = np.minimum(np.floor(exact).astype(np.int64), BINS - 2)
    share = np.minimum(exact - whole, 1.0)
    laid = np.zeros((len(edges) - 1, WIDTH))
    rows = np.broadcast_to(np.arange(len(edges) - 1)[:, None], whole.shape)
    np.add.at(laid, (rows, whole), (1 - share) / POINTS)
    np.add.at(laid, (rows, whole + 1), share / POINTS)
    return laid


@cache
def usual_spread() -> Floats:
    """Return the spread of the grid's cells above the line."""
    return spread_over_sums(grid().edges_above)
