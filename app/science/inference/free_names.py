"""Names outside the order: colours, which may stand in any order at any amount."""

import numpy as np

from app.science.inference.grid import BINS, STEP, WIDTH, grid, spread_over_sums
from app.science.inference.messages import Downward
from app.science.inference.values import Floats

IGNORED = 1e-9


def amount_laws(masses: Floats, low: Floats, high: Floats) -> Floats:
    """Return the law of each free name's amount on the sum bins, (nodes, names, WIDTH).

    Args:
        masses: prior masses, (nodes, names, cells).
        low: smallest stated % w/w of each name.
        high: largest stated % w/w of each name.
    """
    parts = masses / np.maximum(masses.sum(axis=2, keepdims=True), 1e-300)
    laws = np.zeros((*masses.shape[:2], WIDTH))
    for name in range(masses.shape[1]):
        laws[:, name] = parts[:, name] @ spread_over_sums(grid().edges, low[name], high[name])
    return laws


def sum_of(laws: Floats) -> Floats:
    """Return the law of the sum of the free names, (nodes, WIDTH); nothing at all when there are none."""
    nodes, names, _ = laws.shape
    total = np.zeros((nodes, WIDTH))
    total[:, 0] = 1.0
    for name in range(names):
        for node in range(nodes):
            total[node, :BINS] = np.convolve(total[node, :BINS], laws[node, name, :BINS])[:BINS]
    return total


def free_marginals(
    masses: Floats, values: Floats, laws: Floats, below: Floats, found: Downward, weight: Floats
) -> Floats:
    """Return each free name's mass per cell, every row summing to 1; (names, cells).

    Args:
        masses: prior masses of the free names, (nodes, names, cells).
        values: what their cells stand for, (names, cells), % w/w.
        laws: laws of their amounts, from ``amount_laws``.
        below: laws of the block below the line alone, (nodes, m + 1, WIDTH).
        found: the downward messages.
        weight: posterior probability of every node and k, (nodes, m + 1).
    """
    # Every amount that the free names together may fill, by its weight, (nodes, WIDTH).
    free, room = sum_of(laws), np.zeros((len(weight), WIDTH))
    for k, rest in enumerate(found.rest):
        for one in np.flatnonzero(weight[:, k] > IGNORED):
            part = np.correlate(rest[one, :BINS], below[one, k, :BINS], mode="full")[BINS - 1 :]
            scale = (part * free[one, :BINS]).sum()
            room[one, :BINS] += part * (weight[one, k] / scale if scale > 0 else 0.0)
    answers = np.zeros(masses.shape[1:])
    for name in range(masses.shape[1]):
        others = sum_of(np.delete(laws, name, axis=1))
        for node in range(len(masses)):
            pull = np.correlate(room[node, :BINS], others[node, :BINS], mode="full")[BINS - 1 :]
            answers[name] += masses[node, name] * np.interp(values[name] / STEP, np.arange(BINS), pull)
    shares: Floats = answers / np.maximum(answers.sum(axis=1, keepdims=True), 1e-300)
    return shares
