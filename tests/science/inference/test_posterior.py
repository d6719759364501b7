"""The posterior against slow independent methods: quadrature for two names, weighted draws for five."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from app.science.inference.evidence import LinearMeasurement
from app.science.inference.grid import WIDTH, move, shift_by, spread_over_sums
from app.science.inference.infer import CELL, Observed, infer, work_out
from app.science.inference.messages import reachable_rows
from app.science.inference.posterior import Floor, ListConstraints, Tilt, believe
from app.science.inference.prior import Nodes, UsagePrior, usual_amounts
from app.science.inference.summary import quantiles, stretched
from app.science.inference.values import ClassPrior, Known, ListedName, PriorTable

CLASSES = {
    "oil": ClassPrior("oil", 4.0, 1.3, bulk=True),
    "gum": ClassPrior("gum", 0.5, 0.7),
    "trace": ClassPrior("trace", 0.05, 1.0),
    "other": ClassPrior("other", 1.0, 1.5, bulk=True),
    "water": ClassPrior("water", 50.0, 1.0),
}
TABLE = PriorTable(CLASSES)
ONE_NODE = Nodes(np.zeros(1), np.ones(1))


def told(count: int) -> ListConstraints:
    everywhere = np.ones(count + 1, dtype=bool)
    return ListConstraints(
        np.zeros(count), np.full(count, 100.0), np.arange(count), np.ones(count, dtype=bool), everywhere
    )


def density(percent: np.ndarray, mu: float, sigma: float) -> np.ndarray:
    """The prior density of ln x at x, up to a constant, written out anew."""

    def normal(width: float) -> np.ndarray:
        return np.exp(-0.5 * ((np.log(percent) - mu) / width) ** 2) / width

    return 0.85 * normal(sigma) + 0.15 * normal(2.3 * sigma)


def test_two_names_agree_with_quadrature() -> None:
    usual = UsagePrior(np.log([30.0, 20.0]), np.array([1.0, 0.6]), np.zeros(2, bool), np.zeros(2, bool))
    belief = believe(usual, ONE_NODE, told(2))
    assert belief is not None
    first = np.linspace(50.0, 99.0, 200_001)
    weight = density(first, usual.mu[0], 1.0) / first * density(100 - first, usual.mu[1], 0.6) / (100 - first)
    summed = np.cumsum(weight) / weight.sum()
    expected = [first[np.searchsorted(summed, q)] for q in (0.1, 0.5, 0.9)]
    assert quantiles(belief.masses, belief.edges)[0] == pytest.approx(expected, rel=0.03)


def test_five_names_agree_with_weighted_draws() -> None:
    names = [ListedName(c, c) for c in ("oil", "oil", "oil", "gum", "trace")]
    usual = usual_amounts(names, TABLE)
    belief = believe(usual, ONE_NODE, told(5))
    assert belief is not None
    draws, weight = weighted_draws(usual, np.random.default_rng(5), 300_000)
    found = quantiles(belief.masses, belief.edges)
    for i in range(5):
        order = np.argsort(draws[:, i])
        summed = np.cumsum(weight[order]) / weight.sum()
        expected = draws[order, i][np.searchsorted(summed, [0.1, 0.5, 0.9])]
        assert np.abs(np.log10(found[i] / expected)).max() < 0.02
    above = (draws >= 1).sum(axis=1)
    line = np.array([weight[above == k].sum() for k in range(6)]) / weight.sum()
    assert belief.line == pytest.approx(line, abs=0.005)


def weighted_draws(usual: UsagePrior, rng: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Draw all names but the first from their priors, let the first take the rest, and weigh by order and density."""
    widths = np.where(rng.random((count, 4)) < 0.85, 1.0, 2.3) * usual.sigma[1:]
    rest = np.exp(usual.mu[1:] + widths * rng.standard_normal((count, 4)))
    first = 100 - rest.sum(axis=1)
    draws = np.column_stack((first, rest))[first > 1]
    weight = density(draws[:, 0], usual.mu[0], usual.sigma[0]) / draws[:, 0]
    return draws, weight * order_likelihood(draws)


def order_likelihood(draws: np.ndarray) -> np.ndarray:
    """Probability of the printed order given each composition, written out anew."""
    likely = np.zeros(len(draws))
    for above in range(draws.shape[1] + 1):
        head, block = draws[:, :above], draws[:, above:]
        lawful = (head >= 1).all(axis=1) & (block < 1).all(axis=1) & (np.diff(head, axis=1) <= 0).all(axis=1)
        descends = (np.diff(block, axis=1) <= 0).all(axis=1)
        likely += lawful * (0.5 * descends + 0.5 / math.factorial(block.shape[1]))
    return likely


@st.composite
def lists(draw: st.DrawFn) -> list[ListedName]:
    classes = draw(st.lists(st.sampled_from(["oil", "gum", "trace", "other"]), min_size=1, max_size=14))
    water = [ListedName("Aqua", "water")] if draw(st.booleans()) else []
    colours = [ListedName("CI 77891", "other", colour=True)] if draw(st.booleans()) else []
    return [*water, *(ListedName(f"{c} {i}", c) for i, c in enumerate(classes)), *colours]


@settings(max_examples=25)
@given(lists(), st.data())
def test_every_answer_is_ordered_closed_and_the_same_again(names: list[ListedName], data: st.DataObject) -> None:
    known = {}
    if data.draw(st.booleans()):
        value = data.draw(st.sampled_from([0.3, 1.0, 2.0, 30.0]))
        known = {data.draw(st.integers(0, len(names) - 1)): Known(value, value)}
    answer = infer(names, TABLE, known)
    for row in answer.rows:
        assert row.low - 1e-9 <= row.band_low <= row.estimate <= row.band_high <= row.high + 1e-9
    assert sum(row.estimate for row in answer.rows) == pytest.approx(100, abs=1e-6)
    assert sum(answer.line_probability) == pytest.approx(1)
    assert len(answer.line_probability) == len(names) + 1
    assert infer(names, TABLE, known) == answer


def test_a_known_value_is_kept_and_drags_its_neighbours() -> None:
    names = [ListedName("Aqua", "water"), ListedName("a", "oil"), ListedName("b", "oil"), ListedName("c", "gum")]
    free, fixed = infer(names, TABLE), infer(names, TABLE, {2: Known(12.0, 12.0)})
    assert fixed.rows[2].estimate == fixed.rows[2].band_low == fixed.rows[2].band_high == 12.0
    assert fixed.rows[1].estimate > free.rows[1].estimate
    assert fixed.rows[1].low == 12.0


def test_long_lists_and_traces_do_not_underflow() -> None:
    names = [ListedName("Aqua", "water"), *(ListedName(f"t{i}", "trace") for i in range(150))]
    answer = infer(names, TABLE)
    assert not answer.by_rules_only
    assert answer.line_position <= 3
    assert answer.rows[0].estimate > 80


def test_the_factorial_keeps_the_line_from_drifting_upwards() -> None:
    """Ten alike names around 1 %: without 1/(m-k)! a free order would cost nothing and the line would stand high."""
    names = [ListedName("Aqua", "water"), *(ListedName(f"o{i}", "other") for i in range(10))]
    assert infer(names, TABLE).line_position >= 3


def test_quantiles_of_a_log_normal_are_found_on_the_grid() -> None:
    edges = np.geomspace(0.01, 100, 201)
    masses = np.diff(ndtr(np.log(edges) / 0.8))[None]
    assert quantiles(masses, edges)[0] == pytest.approx(np.exp(0.8 * ndtri([0.1, 0.5, 0.9])), rel=1e-3)


def test_no_estimate_above_the_line_is_sharper_than_a_cell() -> None:
    """110 cells for the two decades from 1 to 100 %."""
    assert pytest.approx(10 ** (2 / 110) - 1, rel=0.01) == CELL


@pytest.mark.parametrize(("off", "kept"), [(5.0, True), (7.0, False)])
def test_a_reading_six_standard_deviations_from_everything_is_set_aside(off: float, kept: bool) -> None:
    """The gum is known to be half a per cent, so a reading that counts it alone can only be that."""
    names = [ListedName("Aqua", "water"), ListedName("a", "oil"), ListedName("b", "gum")]
    reading = LinearMeasurement("gum", np.array([0.0, 0.0, 1.0]), 0.5 + off * 0.2, 0.2)
    worked = work_out(names, TABLE, {2: Known(0.5, 0.5)}, observed=Observed((reading,)), with_draws=False)
    assert worked.unfitting == (() if kept else ("gum",))


def test_amounts_too_small_to_be_printed_are_a_tenth_as_likely() -> None:
    usual = UsagePrior(np.log([60.0, 2.0, 0.02]), np.full(3, 1.0), np.zeros(3, bool), np.zeros(3, bool))
    odds = []
    for tilts in ({}, {2: Floor(0.01)}):
        belief = believe(usual, ONE_NODE, replace(told(3), tilts=tilts))
        assert belief is not None
        small = belief.edges[1:] <= 0.01
        odds.append(belief.masses[2, small].sum() / belief.masses[2, ~small].sum())
    assert odds[1] == pytest.approx(odds[0] / 10, rel=0.03)


def test_bands_of_lists_longer_than_twelve_names_are_wider() -> None:
    """Errors of neighbours go together, the more so the longer the list; medians stay."""
    six, twelve, thirteen = (stretched(np.tile([1.0, 2.0, 4.0], (count, 1)))[0] for count in (6, 12, 13))
    assert six == pytest.approx(twelve)
    assert thirteen[0] < twelve[0] < twelve[1] < twelve[2] < thirteen[2]
    assert thirteen[1] == twelve[1] == 2.0


def test_a_cell_is_laid_on_the_sums_with_its_own_mean() -> None:
    """The mean of amounts even in the logarithm from a to b is (b - a) / ln(b / a); cut to limits they stop there."""
    edges = np.geomspace(1.0, 100.0, 12)
    laid = spread_over_sums(edges)
    assert laid.sum(axis=1) == pytest.approx(np.ones(11))
    mean = laid @ (np.arange(laid.shape[1]) * 0.4)
    assert mean == pytest.approx(np.diff(edges) / np.diff(np.log(edges)), rel=1e-3)
    cut = spread_over_sums(edges, 2.0, 50.0)
    where = (np.arange(cut.shape[1]) * 0.4)[cut.sum(axis=0) > 0]
    assert (where.min(), where.max()) == (pytest.approx(2.0), pytest.approx(50.0, abs=0.41))
    assert cut.sum(axis=1) == pytest.approx(np.ones(11))
    assert spread_over_sums(np.array([0.0, 1e-3])) @ (np.arange(laid.shape[1]) * 0.4) == pytest.approx(1.4e-4, rel=0.1)


def test_a_message_is_read_at_a_sum_between_two_bins() -> None:
    """By hand: 1 % is two and a half bins of 0.4, so half of what stands 2 and half of what stands 3 bins away."""
    message = np.zeros((1, 2, WIDTH))
    message[0, :, 10], message[0, 1, 0] = 1.0, 4.0
    shift = shift_by(np.array([1.0, 0.8]))
    down, up = move(message, shift.down, shift)[0], move(message, shift.up, shift)[0]
    assert {i: down[0, i] for i in np.flatnonzero(down[0])} == {7: 0.5, 8: 0.5}
    assert {i: down[1, i] for i in np.flatnonzero(down[1])} == {8: 1.0}
    assert {i: up[0, i] for i in np.flatnonzero(up[0])} == {12: 0.5, 13: 0.5}
    assert {i: up[1, i] for i in np.flatnonzero(up[1])} == {2: 4.0, 12: 1.0}
    assert move(message[:, :1], shift.down, shift)[0] == pytest.approx(down[:1])  # fewer rows than the shift has


@pytest.mark.parametrize("cap", [52.0, 60.0])
def test_a_limit_on_the_first_name_cuts_its_cells_where_it_stands(cap: float) -> None:
    """Two names of which the first is at least half, against quadrature between 50 % and the limit."""
    usual = UsagePrior(np.log([30.0, 20.0]), np.array([1.0, 0.6]), np.zeros(2, bool), np.zeros(2, bool))
    high = np.array([cap, 100.0])
    belief = believe(usual, ONE_NODE, replace(told(2), high=high))
    assert belief is not None
    first = np.linspace(50.0, cap, 20_001)
    weight = density(first, usual.mu[0], 1.0) / first * density(100 - first, usual.mu[1], 0.6) / (100 - first)
    middle = first[np.searchsorted(np.cumsum(weight) / weight.sum(), 0.5)]
    assert quantiles(belief.masses, belief.edges)[:, 1] == pytest.approx([middle, 100 - middle], rel=0.02)
    assert belief.line == pytest.approx([0, 0, 1])


def test_the_ith_name_can_reach_the_ith_part_of_a_hundred() -> None:
    edges = np.array([1.0, 10.0, 30.0, 60.0, 100.0])
    assert reachable_rows(edges, 5) == (4, 4, 4, 3, 3)  # 100, 50, 33, 25 and 20 %, by cells of those edges


def test_a_measured_amount_is_a_bell_that_never_quite_vanishes() -> None:
    found = Tilt(10.0, 2.0)(np.array([10.0, 12.0, 6.0, 1000.0]))
    assert found == pytest.approx([1, math.exp(-0.5), math.exp(-2), math.exp(-100)])
    assert Floor(0.5)(np.array([0.49, 0.5, 2.0])) == pytest.approx([0.1, 1, 1])
