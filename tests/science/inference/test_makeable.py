"""The nearest makeable composition: requirements met with the least change, order and bounds kept."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.inference.makeable import Requirement, makeable_start, rounded_down, rounded_up, weighable
from app.science.inference.values import Estimate


def row(name: str, estimate: float, low: float = 0.0, high: float = 100.0) -> Estimate:
    return Estimate(name, low, high, estimate, estimate / 2, estimate * 2)


ROWS = [row("Aqua", 80.0), row("Oil", 15.0), row("Wax", 4.0), row("Keeper", 0.4), row("Gum", 0.3)]
CHAIN = np.arange(5)
LINE = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0]


def test_what_can_be_made_stays_as_likely() -> None:
    found = makeable_start(ROWS, CHAIN, LINE, [Requirement("preservation", {3: 1.0}, 0.3)], [True] * 5)
    assert sum(found.percents) == pytest.approx(100)
    assert found.percents[:3] == pytest.approx((80.0, 15.0, 4.0), rel=0.02)
    assert found.unmet == ()


def test_a_preservative_is_raised_to_its_least_amount_and_says_why() -> None:
    found = makeable_start(ROWS, CHAIN, LINE, [Requirement("preservation", {3: 1.0}, 0.5)], [True] * 5)
    assert found.percents[3] == pytest.approx(0.5)
    assert [(m.index, m.rule) for m in found.moves if m.index == 3] == [(3, "preservation")]


def test_what_the_bounds_forbid_is_reported_and_the_rest_holds() -> None:
    capped = [*ROWS[:3], row("Keeper", 0.1, high=0.2), ROWS[4]]
    asked = [Requirement("preservation", {3: 1.0}, 0.5), Requirement("gel", {4: 1.0}, 0.7)]
    found = makeable_start(capped, CHAIN, LINE, asked, [True] * 5)
    assert [r.rule for r in found.unmet] == ["preservation"]
    assert found.percents[3] == pytest.approx(0.2)
    assert found.percents[4] == pytest.approx(0.7)


def test_a_name_that_does_not_count_has_no_amount_whatever_its_bounds() -> None:
    rows = [*ROWS[:4], row("Gum", 0.3, low=0.2)]
    found = makeable_start(rows, CHAIN, LINE, [], [True, True, True, True, False])
    assert found.percents[4] == pytest.approx(0.0, abs=1e-9)
    assert sum(found.percents) == pytest.approx(100)


def test_a_ratio_binds_two_names() -> None:
    ratio = Requirement("blend", {4: 1.0, 3: -0.25}, 0.0, 0.0)
    found = makeable_start(ROWS, CHAIN, LINE, [ratio], [True] * 5)
    assert found.percents[4] == pytest.approx(found.percents[3] / 4)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.floats(0.01, 30.0), min_size=2, max_size=8),
    st.integers(0, 8),
    st.floats(0.05, 2.0),
)
def test_the_start_adds_up_and_keeps_order_line_and_bounds(amounts: list[float], line: int, least: float) -> None:
    """Whatever is asked, the percentages sum to 100, descend above the line and stay at most 1 below it."""
    total = sum(amounts)
    rows = [row("Aqua", max(100 - total, 1.0)), *(row(f"n{i}", a) for i, a in enumerate(sorted(amounts)[::-1]))]
    above = min(line, len(rows) - 1) + 1
    probability = [float(k == above) for k in range(len(rows) + 1)]
    asked = [Requirement("preservation", {len(rows) - 1: 1.0}, least)]
    found = makeable_start(rows, np.arange(len(rows)), probability, asked, [True] * len(rows))
    assert sum(found.percents) == pytest.approx(100, abs=1e-5)
    head, tail = found.percents[: found.above_line], found.percents[found.above_line :]
    assert all(a >= b - 1e-7 for a, b in pairwise(head))
    assert all(x <= 1 + 1e-7 for x in tail)
    assert all(x >= 1 - 1e-7 for x in head)


@pytest.mark.parametrize("percent", [63.2, 22.6, 7.77, 1.96, 0.333, 0.0787, 0.0123, 0.00456])
def test_figures_are_weighable_and_close(percent: float) -> None:
    assert weighable(percent) == pytest.approx(percent, rel=0.2)
    assert len(f"{weighable(percent):.6g}".replace(".", "").strip("0")) <= 3
    assert percent * 0.995 <= rounded_up(percent) <= percent * 1.1


def keeper(room: float, low: float) -> tuple[float, list[str]]:
    """Ask a least amount of the fourth name, likely at 0.4 % within ``room``: what it starts with and what is unmet."""
    rows = [*ROWS[:3], Estimate("Keeper", 0.0, 100.0, 0.4, 0.4 - room, 0.4 + room), ROWS[4]]
    found = makeable_start(rows, CHAIN, LINE, [Requirement("preservation", {3: 1.0}, low)], [True] * 5)
    return found.percents[3], [r.rule for r in found.unmet]


def test_a_requirement_is_met_beyond_a_band_unless_the_band_is_very_narrow() -> None:
    """By hand, a point of per cent: missing 0.5 % costs 60 / 0.5 = 120; beyond a band of 0.04 it is 4 / 0.04 = 100, of
    0.02 it is 200.
    """
    assert keeper(0.04, 0.5) == (pytest.approx(0.5), [])
    assert keeper(0.02, 0.5) == (pytest.approx(0.42), ["preservation"])


def test_a_band_without_width_counts_as_two_per_cent_of_its_amount() -> None:
    """By hand: up to 0.408 a point costs 1 / 0.008 = 125, less than the 146 of missing 0.41; beyond it costs 500."""
    assert keeper(0.0, 0.41) == (pytest.approx(0.408), ["preservation"])


@pytest.mark.parametrize(("least", "said"), [(0.412, [3]), (0.404, [])])
def test_a_move_of_three_per_cent_is_said_and_one_of_one_per_cent_is_not(least: float, said: list[int]) -> None:
    found = makeable_start(ROWS, CHAIN, LINE, [Requirement("preservation", {3: 1.0}, least)], [True] * 5)
    assert [move.index for move in found.moves] == said


@pytest.mark.parametrize(("share", "unmet", "above"), [(0.05, [], 2), (0.02, ["gel"], 3)])
def test_only_a_plausible_place_of_the_line_is_tried(share: float, unmet: list[str], above: int) -> None:
    """The wax can come to 0.8 % only where the line stands before it, which is 5 or 2 % likely."""
    line = [0.0, 0.0, share, 1 - share, 0.0, 0.0]
    found = makeable_start(ROWS, CHAIN, line, [Requirement("gel", {2: 1.0}, high=0.8)], [True] * 5)
    assert ([r.rule for r in found.unmet], found.above_line) == (unmet, above)


def test_below_the_line_the_order_is_kept_where_that_costs_little() -> None:
    """By hand: 0.03 out of order costs 0.03 x 4 / 0.1 = 1.2, a keeper at 0.43 instead of 0.4 within 0.033 costs 0.9."""
    rows = [*ROWS[:3], Estimate("Keeper", 0.0, 100.0, 0.4, 0.367, 0.433), ROWS[4]]
    found = makeable_start(rows, CHAIN, LINE, [Requirement("gel", {4: 1.0}, 0.43)], [True] * 5)
    assert found.percents[3:] == pytest.approx((0.43, 0.43))


@pytest.mark.parametrize(("low", "high", "start"), [(0.5, np.inf, 0.42), (0.5, 0.9, 0.42), (-np.inf, 0.3, 0.38)])
def test_the_smaller_end_of_a_requirement_says_what_missing_it_costs(low: float, high: float, start: float) -> None:
    """By hand, a point: 60 / 0.5 = 120 for the first two and 60 / 0.3 = 200 for the last; beyond a band of 0.02 it
    is 4 / 0.02 = 200, so that the first two are left where their band ends, and so is the last.
    """
    rows = [*ROWS[:3], Estimate("Keeper", 0.0, 100.0, 0.4, 0.38, 0.42), ROWS[4]]
    found = makeable_start(rows, CHAIN, LINE, [Requirement("preservation", {3: 1.0}, low, high)], [True] * 5)
    assert found.percents[3] == pytest.approx(start)
    assert [r.rule for r in found.unmet] == ["preservation"]


@pytest.mark.parametrize(
    ("percent", "step"),
    [(20.4, 20.0), (21.3, 21.0), (19.9, 20.0), (5.3, 5.5), (4.96, 5.0), (1.04, 1.0), (0.97, 0.95),
     (0.23, 0.25), (0.2, 0.2), (0.187, 0.19), (0.05, 0.05), (0.044, 0.045), (0.0104, 0.01), (0.0093, 0.009),
     (0.00093, 0.0009)],
)  # fmt: skip
def test_a_start_is_weighed_in_steps_of_its_size(percent: float, step: float) -> None:
    """Whole points from 20 %, halves from 5, tenths from 1, then 0.05, 0.01, 0.005, 0.001 and 0.0001."""
    assert weighable(percent) == pytest.approx(step)


@pytest.mark.parametrize(
    ("percent", "below"),
    [(12.7, 12.0), (2.47, 2.4), (0.49, 0.45), (0.0787, 0.07), (0.0197, 0.015), (0.00197, 0.001), (0.00097, 0.0009)],
)
def test_the_next_lower_weight_is_of_the_same_steps(percent: float, below: float) -> None:
    assert rounded_down(percent) == pytest.approx(below)


@pytest.mark.parametrize(("percent", "up"), [(0.5, 0.5), (0.5024, 0.5), (0.503, 0.51), (12.06, 12.0), (12.07, 13.0)])
def test_a_figure_is_rounded_up_beyond_half_a_percent_of_it(percent: float, up: float) -> None:
    assert rounded_up(percent) == pytest.approx(up)


def test_a_move_names_the_rule_that_pulled_in_its_direction() -> None:
    down = makeable_start(ROWS, CHAIN, LINE, [Requirement("gel", {2: 1.0}, high=2.0)], [True] * 5)
    assert (2, "gel") in {(m.index, m.rule) for m in down.moves}
    ratio = [Requirement("blend", {3: 1.0, 4: -1.0}, 0.3)]  # 0.3 % more of the keeper than of the gum
    pulled = {m.index: m for m in makeable_start(ROWS, CHAIN, LINE, ratio, [True] * 5).moves}
    assert all(m.rule == "blend" for place, m in pulled.items() if place in (3, 4))
    assert pulled
    short = [row("Aqua", 70.0), *ROWS[1:]]
    filled = makeable_start(short, CHAIN, LINE, [], [True] * 5)
    assert {m.rule for m in filled.moves if m.index == 0} == {"sum"}


def test_names_that_need_not_be_in_it_are_left_out_of_a_start() -> None:
    found = makeable_start(
        ROWS, np.arange(4), [0, 0, 0, 1.0, 0], [Requirement("gel", {4: 1.0}, 1.0)], [True] * 4 + [False]
    )
    assert found.percents[4] == 0
    assert found.unmet == ()  # it is not asked for either
    with pytest.raises(ValueError, match="no composition"):
        makeable_start([row("A", 10, high=20.0), row("B", 10, high=20.0)], np.arange(2), [0, 0, 1.0], [], [True] * 2)
