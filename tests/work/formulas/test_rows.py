"""Several lines at once, and a draft made to add up."""

from decimal import Decimal
from itertools import count

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.rows import double_lines, lines_to_phase, move_lines, put_after, remove_lines
from app.work.formulas.scaling import fill_up, make_hundred, scale_to_hundred

PHASES = (DraftPhase("a"), DraftPhase("b"))
LINES = tuple(DraftLine(i, p, i.upper(), None, "10") for i, p in (("u", "a"), ("v", "a"), ("w", "a"), ("x", "b")))
DRAFT = Draft(phases=PHASES, lines=LINES)


def ids(draft: Draft, phase: str) -> list[str]:
    return [line.id for line in draft.lines_of(phase)]


def test_lines_are_doubled_below_themselves_and_never_fill_up_twice() -> None:
    numbers = count()
    draft = double_lines(fill_up(DRAFT, "u"), {"u", "w"}, lambda: f"n{next(numbers)}")
    assert ids(draft, "a") == ["u", "n0", "v", "w", "n1"]
    assert [line.qs for line in draft.lines_of("a")] == [True, False, False, False, False]


def test_lines_move_together_and_stay_together_at_the_edge() -> None:
    assert ids(move_lines(DRAFT, {"v", "w"}, -1), "a") == ["v", "w", "u"]
    assert move_lines(DRAFT, {"u", "v"}, -1) == DRAFT
    down = move_lines(DRAFT, {"v", "w"}, 1)
    assert (ids(down, "a"), ids(down, "b")) == (["u"], ["v", "w", "x"])


def test_lines_go_to_another_phase_in_their_order() -> None:
    assert ids(lines_to_phase(DRAFT, {"w", "u"}, "b"), "b") == ["x", "u", "w"]
    assert lines_to_phase(DRAFT, {"u"}, "none") == DRAFT
    assert ids(remove_lines(DRAFT, {"u", "x"}), "a") == ["v", "w"]


def test_rows_are_put_below_a_line_or_at_the_end() -> None:
    new = (DraftLine("n", "a", "N", None, "1"),)
    assert ids(put_after(DRAFT, new, "u"), "a") == ["u", "n", "v", "w"]
    assert ids(put_after(DRAFT, new, "gone"), "a") == ["u", "v", "w", "n"]


def test_scaling_keeps_ratios_and_kept_lines() -> None:
    scaled = scale_to_hundred({"u": Decimal(30), "v": Decimal(10), "w": Decimal("0.3")}, kept={"w"})
    assert scaled == {"u": Decimal("74.77"), "v": Decimal("24.93"), "w": Decimal("0.3")}


SHARES = st.lists(st.decimals("0.01", "90", places=2), min_size=2, max_size=12)


@given(SHARES)
def test_what_is_scaled_makes_exactly_a_hundred(shares: list[Decimal]) -> None:
    scaled = scale_to_hundred({str(n): share for n, share in enumerate(shares)})
    assert sum(scaled.values()) == 100
    factor = 100 / sum(shares)
    assert all(abs(scaled[str(n)] - share * factor) <= Decimal("0.1") for n, share in enumerate(shares))


@given(SHARES)
def test_kept_lines_are_never_touched(shares: list[Decimal]) -> None:
    assume(shares[0] < 100)
    scaled = scale_to_hundred({str(n): share for n, share in enumerate(shares)}, kept={"0"})
    assert scaled["0"] == shares[0]
    assert sum(scaled.values()) == 100


@pytest.mark.parametrize(
    ("percents", "kept"),
    [
        ({"u": Decimal(100), "v": Decimal(5)}, {"u"}),
        ({"u": Decimal(5)}, {"u"}),
        ({"u": Decimal(0)}, set()),
        ({}, set()),
    ],
    ids=str,
)
def test_what_cannot_be_scaled_says_so(percents: dict[str, Decimal], kept: set[str]) -> None:
    with pytest.raises(Invalid):
        scale_to_hundred(percents, kept)


def test_amounts_by_volume_are_not_scaled() -> None:
    with pytest.raises(Invalid) as error:
        make_hundred(Draft(phases=PHASES, lines=LINES, basis="v/v"), {"u": Decimal(1)})
    assert error.value.field == "basis"


def test_only_one_line_fills_up() -> None:
    draft = fill_up(fill_up(DRAFT, "u"), "v")
    assert [(line.id, line.qs, line.amount) for line in draft.lines][:2] == [("u", False, ""), ("v", True, "")]
    with pytest.raises(Invalid):
        fill_up(DRAFT, "gone")
