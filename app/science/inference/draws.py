"""Whole compositions drawn from the posterior, each with order, line and sum at once.

The downward messages of the dynamic programme already hold the weight of every name at every amount and rest, so a
composition is drawn from the line upward (forward filtering, backward sampling; C. K. Carter, R. Kohn, Biometrika 81
(1994) 541, doi:10.1093/biomet/81.3.541). The generator starts from one fixed number, so the same list gives the same
draws.
"""

from dataclasses import dataclass

import numpy as np

from app.science.inference.below_line import BelowBlock, half_sum
from app.science.inference.grid import BINS, SMALLEST, STEP, grid
from app.science.inference.messages import Above, Downward
from app.science.inference.values import Floats, Integers

SEED = 7  # any fixed number: the draws are a table, not chance


@dataclass(frozen=True, slots=True)
class DrawSource:
    """What compositions are drawn from: messages above the line, masses below it, and amounts beside the order.

    ``beside`` holds the posterior mass per cell of free names, (names, cells); ``chain`` and ``free`` their places.
    """

    above: Above
    found: Downward
    block: BelowBlock
    below: Floats
    laws: Floats
    weight: Floats
    chain: Integers
    free: Integers
    beside: Floats
    count: int


def draw_compositions(source: DrawSource, size: int) -> Floats:
    """Draw compositions, shape (size, names), each row summing to 100 % w/w."""
    rng = np.random.default_rng(SEED)
    percents = np.zeros((size, source.count))
    # The node of richness and the number of names above the line, evenly over their weights.
    flat = np.cumsum(source.weight.ravel())
    points = (np.arange(size) + rng.random()) / size
    picked = np.searchsorted(flat / flat[-1], points).clip(max=len(flat) - 1)
    node, line = np.unravel_index(picked, source.weight.shape)
    for one in np.unique(node):
        for k in np.unique(line[node == one]):
            rows = np.flatnonzero((node == one) & (line == k))
            values = np.zeros((len(rows), len(source.chain)))
            if k:
                values[:, :k] = _above(source, rng, int(one), int(k), len(rows))
            if k < len(source.chain):
                values[:, k:] = _below(source, rng, int(one), int(k), len(rows))
            percents[np.ix_(rows, source.chain)] = values
    edges = grid().edges
    for number, place in enumerate(source.free):
        summed = np.cumsum(source.beside[number])
        cells = np.searchsorted(summed, rng.random(size)).clip(max=len(edges) - 2)
        bottom = np.maximum(edges[cells], SMALLEST)
        percents[:, place] = bottom * (edges[cells + 1] / bottom) ** rng.random(size)
    largest = int(np.argmax(np.median(percents, axis=0)))
    percents[:, largest] = np.maximum(100.0 - percents.sum(axis=1) + percents[:, largest], SMALLEST)
    whole: Floats = 100.0 * percents / percents.sum(axis=1, keepdims=True)
    return whole


def _above(source: DrawSource, rng: np.random.Generator, node: int, line: int, size: int) -> Floats:
    """Draw from the last name above the line upward: each at least as large as the one after it."""
    edges = grid().edges_above
    cells = np.zeros((size, line), dtype=np.int64)
    last = source.found.placed[line - 1][node]
    joint = last * source.laws[node, line][None, :]
    flat = np.cumsum(joint.ravel())
    picked = np.searchsorted(flat / flat[-1], rng.random(size)).clip(max=len(flat) - 1)
    cells[:, line - 1], rest = np.unravel_index(picked, joint.shape)
    for place in range(line - 2, -1, -1):
        later = cells[:, place + 1]
        rest = rest + np.round(grid().above[later] / STEP).astype(np.int64)
        message = source.found.placed[place][node]
        weights = message[:, np.minimum(rest, BINS - 1)].T.copy()
        reach = np.arange(message.shape[0])[None, :]
        weights[reach < later[:, None]] = 0.0
        own = np.minimum(later, message.shape[0] - 1)
        weights[np.arange(size), own] *= 0.5
        lost = weights.sum(axis=1) <= 0
        weights[lost, own[lost]] = 1.0
        cells[:, place] = _pick(weights, rng)
    drawn = edges[cells] * (edges[cells + 1] / edges[cells]) ** rng.random((size, line))
    return _descending(drawn)


def _below(source: DrawSource, rng: np.random.Generator, node: int, line: int, size: int) -> Floats:
    """Draw the names below the line: going on in descending order, or each by itself, by the weight of either."""
    block, edges = source.block, grid().edges_below
    going_on = rng.random(size) < np.exp(block.descending[node, line] - block.both[node, line])
    values = np.zeros((size, len(source.chain) - line))
    cap = np.full(size, len(edges) - 1)  # the first name may be in any cell, the others up to half of the one before
    for number, place in enumerate(range(line, len(source.chain))):
        descending, free = np.cumsum(block.chain[node, place]), np.cumsum(source.below[node, place])
        reach = np.append(half_sum(block.chain[node, place]), descending[-1])
        whole = np.where(going_on, reach[cap], free[-1])
        points = rng.random(size) * whole
        picked = np.where(going_on, np.searchsorted(descending, points), np.searchsorted(free, points))
        picked = np.where(whole > 0, picked, cap).clip(max=len(edges) - 2)
        cap = np.where(going_on, picked, cap)
        values[:, number] = edges[picked] * (edges[picked + 1] / edges[picked]) ** rng.random(size)
    return np.where(going_on[:, None], _descending(values), values)


def _descending(values: Floats) -> Floats:
    """Return rows whose cells descend with the amounts inside one cell in descending order too."""
    ordered: Floats = np.sort(values, axis=1)[:, ::-1]
    return ordered


def _pick(weights: Floats, rng: np.random.Generator) -> Integers:
    """Draw one cell a row by its weight."""
    summed = np.cumsum(weights, axis=1)
    points = rng.random(len(weights)) * summed[:, -1]
    picked: Integers = (summed < points[:, None]).sum(axis=1).clip(max=weights.shape[1] - 1)
    return picked
