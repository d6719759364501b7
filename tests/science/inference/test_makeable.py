"""The nearest makeable composition: requirements met with the least change, order and bounds kept."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.inference.makeable import Requirement, makeable_start, rounded_up, weighable
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
