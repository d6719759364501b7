"""Bounds by the rules alone: closed form against a linear programme, and truths that must lie inside."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import eye_array, kron

from app.science.inference.hard_bounds import any_line_feasible, hard_bounds

Bounds = tuple[np.ndarray, np.ndarray]


def by_programme(low: np.ndarray, high: np.ndarray, chain: np.ndarray) -> Bounds | None:
    """Minimise and maximise every name for every place of the line."""
    answers = (for_line(low, high, chain, above) for above in range(len(chain) + 1))
    found = [answer for answer in answers if answer is not None]
    if not found:
        return None
    return np.min([f[0] for f in found], axis=0), np.max([f[1] for f in found], axis=0)


def for_line(low: np.ndarray, high: np.ndarray, chain: np.ndarray, above: int) -> Bounds | None:
    low, high, count = low.copy(), high.copy(), len(low)
    low[chain[:above]] = np.maximum(low[chain[:above]], 1.0)
    high[chain[above:]] = np.minimum(high[chain[above:]], 1.0)
    if np.any(low > high):
        return None
    # One programme of independent parts: each name as small as it can be, then each as large.
    signs = np.repeat([1.0, -1.0], count)
    cost = (signs[:, None] * np.tile(np.eye(count), (2, 1))).ravel()
    part = eye_array(2 * count)
    rows = [np.eye(count)[b] - np.eye(count)[a] for a, b in pairwise(chain[:above])]
    order = (kron(part, np.array(rows)), np.zeros(2 * count * len(rows))) if rows else (None, None)
    whole = kron(part, np.ones((1, count)))
    box = list(zip(low, high, strict=True)) * (2 * count)
    solved = linprog(cost, *order, whole, np.full(2 * count, 100.0), box)
    if solved.status:
        return None
    ends = solved.x.reshape(2, count, count).diagonal(axis1=1, axis2=2)
    return ends[0], ends[1]


@st.composite
def stated(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    count = draw(st.integers(1, 6))
    low, high = np.zeros(count), np.full(count, 100.0)
    for i in range(count):
        kind = draw(st.sampled_from(["free", "free", "cap", "claim"]))
        value = draw(st.sampled_from([0.2, 0.5, 1.0, 1.5, 5.0, 10.0, 40.0, 80.0]))
        if kind != "free":
            high[i] = value
        if kind == "claim":
            low[i] = value
    tail = draw(st.integers(0, min(2, count)))
    return low, high, np.arange(count - tail)


@settings(max_examples=60)
@given(stated())
def test_closed_form_equals_the_linear_programme(case: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    low, high, chain = case
    found, expected = hard_bounds(low, high, chain), by_programme(low, high, chain)
    assert found.possible == (expected is not None) == any_line_feasible(low, high, chain)
    if expected is not None:
        np.testing.assert_allclose(found.low, expected[0], atol=1e-6)
        np.testing.assert_allclose(found.high, expected[1], atol=1e-6)


def test_a_list_of_names_alone_gives_the_known_bounds() -> None:
    found = hard_bounds(np.zeros(4), np.full(4, 100.0), np.arange(4))
    assert found.low == pytest.approx([25.0, 0.0, 0.0, 0.0])
    assert found.high == pytest.approx([100.0, 50.0, 100 / 3, 25.0])


def test_a_maximum_below_one_percent_puts_later_names_at_or_below_one() -> None:
    high = np.array([100.0, 0.8, 100.0, 100.0])
    found = hard_bounds(np.zeros(4), high, np.arange(4))
    assert found.feasible.tolist() == [False, True, False, False, False]
    assert found.high[1:].tolist() == pytest.approx([0.8, 1.0, 1.0])
    assert found.low[0] == pytest.approx(97.2)


def test_a_maximum_of_exactly_one_leaves_the_name_on_either_side_of_the_line() -> None:
    found = hard_bounds(np.zeros(3), np.array([100.0, 1.0, 100.0]), np.arange(3))
    assert found.feasible.tolist() == [False, True, True, True]


def test_claims_over_a_hundred_are_impossible() -> None:
    low = np.array([60.0, 50.0])
    assert not hard_bounds(low, low, np.arange(2)).possible


@st.composite
def printed(draw: st.DrawFn) -> tuple[np.ndarray, int]:
    """A random composition in the order it may be printed: descending to 1 %, then in any order, colours last."""
    weights = draw(st.lists(st.floats(1e-4, 1.0), min_size=2, max_size=25))
    power = draw(st.floats(0.5, 4.0))
    amounts = np.array(weights) ** power
    amounts = amounts / amounts.sum() * 100
    tail = draw(st.integers(0, 2)) if len(amounts) > 3 else 0
    colours, rest = amounts[len(amounts) - tail :], amounts[: len(amounts) - tail]
    above = np.sort(rest[rest >= 1])[::-1]
    below = np.array(draw(st.permutations(rest[rest < 1].tolist())))
    return np.concatenate((above, below, colours)), len(rest)


@settings(max_examples=80)
@given(printed(), st.data())
def test_a_composition_lies_inside_the_bounds_of_its_own_list_and_claims_only_narrow_them(
    case: tuple[np.ndarray, int], data: st.DataObject
) -> None:
    truth, chain = case
    low, high = np.zeros(len(truth)), np.full(len(truth), 100.0)
    wide = hard_bounds(low, high, np.arange(chain))
    assert np.all(wide.low <= truth + 1e-6)
    assert np.all(truth <= wide.high + 1e-6)
    told = data.draw(st.integers(0, len(truth) - 1))
    low[told] = high[told] = truth[told]
    narrow = hard_bounds(low, high, np.arange(chain))
    assert narrow.possible
    assert np.all(narrow.low >= wide.low - 1e-6)
    assert np.all(narrow.high <= wide.high + 1e-6)
    assert np.all(narrow.low <= truth + 1e-6)
    assert np.all(truth <= narrow.high + 1e-6)
