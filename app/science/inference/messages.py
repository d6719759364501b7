"""Messages along the names above the 1 % line: x_1 >= x_2 >= ... >= x_k >= 1 with a given sum.

Downward messages carry what is left of the 100 % after each name; upward messages carry what the rest of the list
needs. Both are kept scaled, their logarithms beside them, because a long list multiplies many small numbers.
"""

from dataclasses import dataclass, field

import numpy as np

from app.science.inference.grid import BINS, WIDTH, Shift, move
from app.science.inference.values import Floats

NEGLIGIBLE = -25.0  # natural log: places of the line less likely than this, relative to the best, are left out


@dataclass(frozen=True, slots=True)
class Above:
    """The names above the line: prior masses (nodes, m, rows), a shift a name, and how many rows each can reach.

    ``first`` lays the cells of the first name on the sum bins: the largest amounts have cells wider than a bin.
    """

    masses: Floats
    shifts: tuple[Shift, ...]
    rows: tuple[int, ...]
    first: Floats


@dataclass(slots=True)
class Downward:
    """``placed[i]``: weight of name i at each row and rest, (nodes, rows, WIDTH); ``rest[k]``: weight of each rest.

    ``logs[k]`` is the scale of ``rest[k]``; ``evidence`` (nodes, m + 1) the log evidence of every k.
    """

    evidence: Floats
    placed: list[Floats] = field(default_factory=list)
    rest: list[Floats] = field(default_factory=list)
    logs: list[Floats] = field(default_factory=list)


def reachable_rows(edges: Floats, count: int) -> tuple[int, ...]:
    """Return how many rows the name at each place can use: the i-th largest of amounts that sum to 100 is <= 100/i."""
    most = 100.0 / np.arange(1, count + 1)
    return tuple(int(r) for r in np.minimum(np.searchsorted(edges, most) + 1, len(edges) - 1))


def downward(above: Above, block: Floats, laws: Floats) -> Downward:
    """Pass the whole 100 % down the list, for every place of the line.

    Args:
        above: the names.
        block: log evidence of the names below the line for every k, (nodes, m + 1); -inf where k is impossible.
        laws: law of the sum of everything below and beside, (nodes, m + 1, WIDTH).
    """
    nodes, count, _ = above.masses.shape
    found = Downward(np.full((nodes, count + 1), -np.inf))
    logs, rest = np.zeros(nodes), np.zeros((nodes, WIDTH))
    rest[:, BINS - 1] = 1.0
    _note(found, 0, rest, logs, block, laws)
    # The most that the names up to each k and the block below can weigh, (nodes, m + 1), logs.
    ceiling = block.copy()
    with np.errstate(divide="ignore"):
        ceiling[:, 1:] += np.cumsum(np.log(np.minimum(above.masses.sum(axis=2), 1.0)), axis=1)
    ceiling = np.maximum.accumulate(ceiling[:, ::-1], axis=1)[:, ::-1]
    for place in range(count):
        best = found.evidence.max()
        if np.isfinite(best) and ceiling[:, place + 1].max() < best + NEGLIGIBLE:
            break  # every later place of the line is negligible too
        rows = above.rows[place]
        if place:  # at most as large as the name before it; its own cell counts by half
            before, shift = found.placed[-1], above.shifts[place]
            message = np.cumsum(before[:, ::-1], axis=1)[:, ::-1][:, :rows] - 0.5 * before[:, :rows]
            placed = move(message, shift.down, shift)
            placed *= above.masses[:, place, :rows, None]
        else:  # what the first name leaves of the 100 % is known, row by row
            left = np.zeros((rows, WIDTH))
            left[:, :BINS] = above.first[:rows, BINS - 1 :: -1]
            placed = above.masses[:, 0, :rows, None] * left
        logs = _scaled(placed, logs)
        found.placed.append(placed)
        _note(found, place + 1, placed.sum(axis=1), logs, block, laws)
    return found


def _scaled(placed: Floats, logs: Floats) -> Floats:
    """Scale a message in place to a largest value of 1 and give the logarithm of its scale."""
    top = placed.max(axis=(1, 2))
    top[top == 0] = 1.0
    placed /= top[:, None, None]
    scale: Floats = logs + np.log(top)
    return scale


def _note(found: Downward, k: int, rest: Floats, logs: Floats, block: Floats, laws: Floats) -> None:
    found.rest.append(rest)
    found.logs.append(logs)
    with np.errstate(divide="ignore"):
        found.evidence[:, k] = block[:, k] + logs + np.log((laws[:, k] * rest).sum(axis=1))


def upward(above: Above, found: Downward, block: Floats, laws: Floats, weight: Floats) -> Floats:
    """Return each name's mass per row above the line, unnormalised over the whole posterior; (nodes, m, rows).

    ``weight`` is the posterior probability of every node and k, (nodes, m + 1).
    """
    masses = np.zeros_like(above.masses)
    reached = len(found.placed)
    wanted = np.cumsum(weight[:, ::-1], axis=1)[:, ::-1]
    need, logs = None, np.full(len(weight), -np.inf)
    for place in range(reached - 1, -1, -1):
        full, logs = _needed(need, logs, block[:, place + 1], laws[:, place + 1], above.rows[place])
        rows = (full * found.placed[place]).sum(axis=2)
        total = rows.sum(axis=1)
        share = wanted[:, place + 1] / np.where(total > 0, total, 1.0)
        masses[:, place, : above.rows[place]] = rows * share[:, None]
        if place:
            need = move(full, above.shifts[place].up, above.shifts[place])
            need *= above.masses[:, place, : above.rows[place], None]
    return masses


def _needed(need: Floats | None, logs: Floats, block: Floats, law: Floats, rows: int) -> tuple[Floats, Floats]:
    """Join 'the line sits right after this name' with 'another name follows'; returns the message and its log scale."""
    scale = np.maximum(block, logs)
    scale = np.where(np.isfinite(scale), scale, 0.0)
    full = np.repeat((np.exp(block - scale)[:, None] * law)[:, None, :], rows, axis=1)
    if need is not None:  # summed over amounts up to each row, the own cell by half; the name below may reach fewer
        summed = np.cumsum(need, axis=1)
        more = np.repeat(summed[:, -1:], rows - need.shape[1], axis=1)
        full += np.exp(logs - scale)[:, None, None] * np.concatenate((summed - 0.5 * need, more), axis=1)
    return full, _scaled(full, scale)
