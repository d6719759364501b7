"""Lines and phases of a draft, moved, added and taken away: nothing is lost, nothing doubled."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.moves import (
    MOST_PHASES,
    add_phase,
    move_line,
    move_phase,
    remove_line,
    remove_phase,
    rename_line,
    work_out_sum,
)

THREE = Draft(
    phases=(DraftPhase("p1"), DraftPhase("p2"), DraftPhase("p3")),
    lines=(
        DraftLine("a", "p1", "Water"),
        DraftLine("b", "p1", "Glycerin"),
        DraftLine("c", "p2", "Oil"),
        DraftLine("d", "p3", "Perfume"),
    ),
)


def placed(draft: Draft) -> str:
    """Write the lines phase by phase: ``ab c d``."""
    return " ".join("".join(line.id for line in draft.lines_of(phase.id)) or "-" for phase in draft.phases)


@pytest.mark.parametrize(
    ("line", "step", "after"),
    [
        ("a", 1, "ba c d"),
        ("b", -1, "ba c d"),
        ("b", 1, "a bc d"),
        ("c", -1, "abc - d"),
        ("c", 1, "ab - cd"),
        ("d", -1, "ab cd -"),
        ("a", -1, "ab c d"),
        ("d", 1, "ab c d"),
        ("gone", 1, "ab c d"),
    ],
)
def test_a_line_moves_one_place_and_over_the_edge_of_its_phase(line: str, step: int, after: str) -> None:
    assert placed(move_line(THREE, line, step)) == after


@given(st.lists(st.tuples(st.sampled_from("abcd"), st.sampled_from([-1, 1])), max_size=12))
def test_no_walk_of_lines_loses_or_changes_one(walk: list[tuple[str, int]]) -> None:
    draft = THREE
    for line, step in walk:
        draft = move_line(draft, line, step)
    assert sorted((line.id, line.typed) for line in draft.lines) == [(n.id, n.typed) for n in THREE.lines]
    assert {line.phase for line in draft.lines} <= {"p1", "p2", "p3"}


@pytest.mark.parametrize(("phase", "after"), [("p1", "cab d"), ("p2", "abc d"), ("p3", "ab cd"), ("gone", "ab c d")])
def test_the_lines_of_a_phase_that_goes_stay_in_its_neighbour(phase: str, after: str) -> None:
    found = remove_phase(THREE, phase)
    assert sorted(placed(found).replace(" ", "")) == list("abcd")
    assert [sorted(part) for part in placed(found).split()] == [sorted(part) for part in after.split()]


def test_the_last_phase_stays() -> None:
    one = replace(THREE, phases=THREE.phases[:1], lines=THREE.lines[:2])
    assert remove_phase(one, "p1") == one


def test_a_phase_moves_with_its_lines() -> None:
    assert [phase.id for phase in move_phase(THREE, "p3", -1).phases] == ["p1", "p3", "p2"]
    assert placed(move_phase(THREE, "p1", 1)) == "c ab d"
    assert move_phase(THREE, "p1", -1) == move_phase(THREE, "p3", 1) == THREE


def test_a_formula_has_forty_phases_at_the_most() -> None:
    """More letters than A to Z and fourteen of the second turn no sheet can carry; the limit is told in one place."""
    full = Draft(phases=tuple(DraftPhase(f"p{n}") for n in range(39)))
    assert len(add_phase(full, "new").phases) == MOST_PHASES == 40
    assert len(add_phase(add_phase(full, "new"), "one more").phases) == 40


def test_a_line_is_taken_away_renamed_and_its_sum_worked_out() -> None:
    assert placed(remove_line(THREE, "b")) == "a c d"
    assert [line.typed for line in rename_line(THREE, "b", "Betaine").lines] == ["Water", "Betaine", "Oil", "Perfume"]
    summed = THREE.with_line(replace(THREE.lines[1], amount="2,5+1"))
    assert [line.amount for line in work_out_sum(summed, "b").lines] == ["", "3.5", "", ""]
    assert work_out_sum(summed, "a") == summed
