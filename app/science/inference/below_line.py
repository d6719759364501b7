"""The names below the 1 % line: some makers go on in descending order, others do not.

P(printed order | x, k) = w [descending] + (1 - w) / (m - k)! for the m - k names below the line. Without the
factorial the line drifts upward, because a free order would cost nothing.
"""

from dataclasses import dataclass

import numpy as np

from app.science.inference.grid import BINS, STEP, WIDTH
from app.science.inference.values import Floats

GOES_ON = 0.5
VANISHING = 1e-250  # a descending block less likely than this counts as impossible, before it underflows
KERNEL = 4  # values up to 1 % reach the bins 0 to 3 of the running sum


@dataclass(frozen=True, slots=True)
class BelowBlock:
    """Evidence of the block below the line for every k (last axis 0..m), one row a node; logs.

    ``chain`` holds the scaled messages of the descending block, shape (nodes, m, cells), ``scale`` their logs.
    """

    free: Floats
    descending: Floats
    chain: Floats
    scale: Floats

    @property
    def both(self) -> Floats:
        """Log evidence of either way of printing, (nodes, m + 1)."""
        total: Floats = np.logaddexp(self.free, self.descending)
        return total


def below_block(masses: Floats, goes_on: float = GOES_ON) -> BelowBlock:
    """Weigh the block below the line for every k; ``masses`` has shape (nodes, m, cells).

    ``goes_on`` is the chance, 0 to 1, that the printed order goes on descending below the line.
    """
    from scipy.special import gammaln

    nodes, count, cells = masses.shape
    chain, scale = np.empty_like(masses), np.zeros((nodes, count))
    message, logs = np.ones((nodes, cells)), np.zeros(nodes)
    for place in range(count - 1, -1, -1):
        chain[:, place] = masses[:, place] * message
        chain[chain[:, place].sum(axis=1) < VANISHING, place] = 0.0
        scale[:, place] = logs
        message = half_sum(chain[:, place])
        top = message[:, -1:].copy()
        top[top == 0] = 1.0
        message = message / top
        logs = logs + np.log(top[:, 0])
    with np.errstate(divide="ignore"):
        single = np.log(masses.sum(axis=2))
        ends = np.log(chain.sum(axis=2)) + scale
    free = np.zeros((nodes, count + 1))
    free[:, :count] = np.cumsum(single[:, ::-1], axis=1)[:, ::-1]
    free -= gammaln(np.arange(count, -1, -1) + 1.0)
    descending = np.concatenate((ends, np.zeros((nodes, 1))), axis=1)
    with np.errstate(divide="ignore"):
        return BelowBlock(np.log1p(-goes_on) + free, np.log(goes_on) + descending, chain, scale)


def half_sum(values: Floats) -> Floats:
    """Sum along the last axis up to each cell, counting the cell itself by half (ties may stand either way)."""
    summed: Floats = np.cumsum(values, axis=-1) - 0.5 * values
    return summed


def below_marginals(block: BelowBlock, masses: Floats, weight: Floats) -> Floats:
    """Return each name's mass per cell below the line, unnormalised over the whole posterior.

    Args:
        block: the block's evidence.
        masses: prior masses, (nodes, m, cells).
        weight: posterior probability of every node and k, (nodes, m + 1).
    """
    with np.errstate(invalid="ignore"):
        going_on = np.nan_to_num(np.exp(block.descending - block.both), nan=0.0)
    descending = weight * going_on
    free = np.cumsum(weight - descending, axis=1)[:, :-1]
    found: Floats = free[:, :, None] * (masses / np.maximum(masses.sum(axis=2, keepdims=True), 1e-300))
    nodes, count, cells = masses.shape
    above, wanted = np.zeros((nodes, cells)), np.cumsum(descending, axis=1)
    for place in range(count):
        if place:
            passed = above * masses[:, place - 1]
            step = np.exp(block.scale[:, place] - block.scale[:, place - 1])[:, None]
            above = step * half_sum(passed[:, ::-1])[:, ::-1]
        start = np.maximum(block.chain[:, place].sum(axis=1), 1e-300)
        above = above + (descending[:, place] / start)[:, None]
        values = block.chain[:, place] * above
        sums = values.sum(axis=1)
        found[:, place] += values * (wanted[:, place] / np.where(sums > 0, sums, 1.0))[:, None]
    return found


def sum_laws(masses: Floats, values: Floats, start: Floats) -> Floats:
    """Return the law of (free names + the block k+1..m) on the sum bins for every k; shape (nodes, m + 1, WIDTH).

    Args:
        masses: prior masses below the line, (nodes, m, cells).
        values: what each cell stands for, (m, cells), % w/w.
        start: law of the sum of the free names, (nodes, WIDTH).
    """
    nodes, count, _ = masses.shape
    exact = values / STEP
    whole = np.minimum(np.floor(exact), KERNEL - 2)
    share = exact - whole
    parts = masses / np.maximum(masses.sum(axis=2, keepdims=True), 1e-300)
    kernels = np.stack(
        [(parts * ((whole == b) * (1 - share) + (whole == b - 1) * share)).sum(axis=2) for b in range(KERNEL)], axis=2
    )
    laws = np.zeros((nodes, count + 1, WIDTH))
    laws[:, count] = start
    for place in range(count - 1, -1, -1):
        for bins in range(KERNEL):
            laws[:, place, bins:BINS] += kernels[:, place, bins, None] * laws[:, place + 1, : BINS - bins]
    return laws
