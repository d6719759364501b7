"""Two people changed one draft: nothing either of them did is lost without being asked about."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.fields import assemble, changes, flat, order
from app.work.formulas.merge import merge

BASE = Draft(
    name="Cream",
    phases=(DraftPhase("a", "Water"), DraftPhase("b", "Oil")),
    lines=(
        DraftLine("w", "a", "Aqua", 1, "", True),
        DraftLine("g", "a", "Glycerin", 2, "5"),
        DraftLine("o", "b", "Oil", 3, "9"),
    ),
)
TEXT = st.sampled_from(["", "1", "2", "3"])


def with_amount(draft: Draft, line_id: str, amount: str) -> Draft:
    line = next(line for line in draft.lines if line.id == line_id)
    return draft.with_line(replace(line, amount=amount))


def without(draft: Draft, line_id: str) -> Draft:
    return replace(draft, lines=tuple(line for line in draft.lines if line.id != line_id))


def amounts(draft: Draft) -> dict[str, str]:
    return {line.id: line.amount for line in draft.lines}


@st.composite
def drafts(draw: st.DrawFn) -> Draft:
    """Drafts that share ids with others, as two changes of one draft do."""
    phases = draw(st.lists(st.sampled_from("abc"), unique=True, min_size=1))
    ids = draw(st.lists(st.sampled_from("vwxyz"), unique=True))
    lines = tuple(
        DraftLine(i, draw(st.sampled_from(phases)), draw(TEXT), None, draw(TEXT), draw(st.booleans())) for i in ids
    )
    return Draft(draw(TEXT), phases=tuple(DraftPhase(p, draw(TEXT)) for p in phases), lines=lines)


@given(drafts())
def test_a_draft_taken_apart_goes_together_again(draft: Draft) -> None:
    assert assemble(flat(draft), {group: order(draft, group) for group in ("phase", "line", "pack")}) == draft


@settings(max_examples=60)
@given(drafts(), drafts())
def test_where_only_one_side_changed_its_state_stands(base: Draft, changed: Draft) -> None:
    assert merge(base, base, changed).clashes == ()
    assert flat(merge(base, base, changed).draft) == flat(changed)
    assert flat(merge(base, changed, base).draft) == flat(changed)
    assert flat(merge(base, changed, changed).draft) == flat(changed)


@settings(max_examples=60)
@given(drafts(), drafts(), drafts())
def test_any_three_drafts_merge_into_one_whose_lines_have_a_phase(base: Draft, theirs: Draft, mine: Draft) -> None:
    merged = merge(base, theirs, mine).draft
    assert len({line.id for line in merged.lines}) == len(merged.lines)
    if merged.phases:
        assert {line.phase for line in merged.lines} <= {phase.id for phase in merged.phases}


def test_a_line_is_named_by_its_material_or_by_its_place_on_the_page() -> None:
    nameless = replace(BASE, lines=(*BASE.lines, DraftLine("n", "b", "", None, "2")))
    named = {one.path: one.words for one in changes(nameless, with_amount(with_amount(nameless, "n", "3"), "g", "6"))}
    assert named == {"line.g.amount": "Amount of Glycerin", "line.n.amount": "Amount of line 4"}


def test_changes_of_different_fields_are_both_kept() -> None:
    merged = merge(BASE, with_amount(BASE, "g", "7"), with_amount(BASE, "o", "8"))
    assert amounts(merged.draft) == {"w": "", "g": "7", "o": "8"}
    assert merged.clashes == ()


def test_the_same_field_changed_twice_is_asked_about_and_is_mine_until_then() -> None:
    theirs, mine = with_amount(BASE, "g", "7"), with_amount(BASE, "g", "8")
    merged = merge(BASE, theirs, mine)
    assert amounts(merged.draft)["g"] == "8"
    assert [(c.path, c.words, c.base, c.theirs, c.mine) for c in merged.clashes] == [
        ("line.g.amount", "Amount of Glycerin", "5", "7", "8")
    ]
    assert amounts(merge(BASE, theirs, mine, {"line.g.amount": "theirs"}).draft)["g"] == "7"


@pytest.mark.parametrize(("pick", "stays"), [("mine", True), ("theirs", False)])
def test_a_line_removed_there_and_changed_here_is_asked_about(pick: str, stays: bool) -> None:
    merged = merge(BASE, without(BASE, "g"), with_amount(BASE, "g", "8"), {"line.g": pick})
    assert [clash.path for clash in merged.clashes] == ["line.g"]
    assert ("g" in amounts(merged.draft)) is stays


def test_a_line_removed_on_one_side_only_is_gone() -> None:
    merged = merge(BASE, without(BASE, "g"), with_amount(BASE, "o", "8"))
    assert amounts(merged.draft) == {"w": "", "o": "8"}


def test_lines_added_on_both_sides_are_both_there_beside_their_neighbours() -> None:
    g, mine_new, their_new = (
        BASE.lines[1],
        DraftLine("m", "a", "Mine", None, "1"),
        DraftLine("t", "a", "Theirs", None, "2"),
    )
    theirs = replace(BASE, lines=(BASE.lines[0], their_new, g, BASE.lines[2]))
    mine = replace(BASE, lines=(BASE.lines[0], g, mine_new, BASE.lines[2]))
    assert [line.id for line in merge(BASE, theirs, mine).draft.lines] == ["w", "t", "g", "m", "o"]


def test_which_line_fills_up_is_one_choice() -> None:
    def filled(line_id: str) -> Draft:
        return replace(BASE, lines=tuple(replace(line, qs=line.id == line_id) for line in BASE.lines))

    merged = merge(BASE, filled("g"), filled("o"))
    assert [clash.path for clash in merged.clashes] == ["qs"]
    assert [line.id for line in merged.draft.lines if line.qs] == ["o"]


def test_a_line_whose_phase_was_removed_there_goes_into_one_that_is_left() -> None:
    theirs = replace(BASE, phases=BASE.phases[:1], lines=BASE.lines[:2])
    mine = with_amount(BASE, "o", "8")
    merged = merge(BASE, theirs, mine).draft
    assert {line.phase for line in merged.lines} <= {phase.id for phase in merged.phases}


def test_changes_are_told_in_words_and_whole_rows_once() -> None:
    after = replace(without(with_amount(BASE, "o", "8"), "g"), name="Balm")
    told = [(c.words, c.before, c.after) for c in changes(BASE, after)]
    assert told == [("Name", "Cream", "Balm"), ("Amount of Oil", "9", "8"), ("Glycerin", "Glycerin, 5", None)]


def test_an_order_that_changed_is_told() -> None:
    after = replace(BASE, lines=(BASE.lines[1], BASE.lines[0], BASE.lines[2]))
    assert [change.words for change in changes(BASE, after)] == ["Order of the lines"]
