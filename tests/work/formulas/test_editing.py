"""Drafts in the store: saved step by step, undone, redone, and never over somebody else's words."""

from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import DraftMaterial, DraftStep, FormulaRow
from app.work.form import Faults
from app.work.formulas import steps
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import (
    DraftConflict,
    SaveOrigin,
    bring_back,
    code_faults,
    create,
    open_draft,
    redo,
    retire,
    save_draft,
    suggest_code,
    undo,
)
from app.work.formulas.listing import list_formulas
from app.work.formulas.resolve import MOST_LINES
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material, delete_unused, load_material, revise_material


def shelved(store: Store, name: str) -> int:
    return add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))


@pytest.fixture
def formula(store: Store) -> int:
    shelved(store, "Glycerin")
    lines = (DraftLine("g", "p", "Glycerin", None, "5"),)
    return create(store, "Oat hand cream", content=Draft(phases=(DraftPhase("p"),), lines=lines))


def opened(store: Store, formula_id: int) -> steps.OpenDraft:
    with store.reading() as session:
        return open_draft(session, formula_id)


def saved(store: Store, formula_id: int, amount: str, *, editor: str = "one", version: int | None = None) -> None:
    there = opened(store, formula_id)
    draft = there.draft.with_line(replace(there.draft.lines[0], amount=amount))
    save_draft(store, formula_id, draft, SaveOrigin(there.row_version if version is None else version, editor))


def amount(store: Store, formula_id: int) -> str:
    return opened(store, formula_id).draft.lines[0].amount


def count(store: Store, what: type) -> int:
    with store.reading() as session:
        return session.scalar(select(func.count()).select_from(what)) or 0


def test_a_code_is_made_of_first_letters_and_never_given_twice(store: Store) -> None:
    for _ in range(3):
        create(store, "Oat hand cream")
    assert sorted(row.code for row in list_formulas(store)) == ["OHC", "OHC2", "OHC3"]
    with store.reading() as session:
        assert suggest_code(session, "12 %") == "12"
        assert suggest_code(session, "!") == "F"


def test_a_form_taken_twice_makes_one_formula(store: Store) -> None:
    assert create(store, "Balm", key="k") == create(store, "Balm", key="k")
    assert count(store, FormulaRow) == 1


def test_a_formula_needs_a_name_and_a_free_code(store: Store) -> None:
    create(store, "Balm", code="B")
    with pytest.raises(Faults) as caught:
        create(store, " ", code="B")
    assert [fault.field for fault in caught.value.faults] == ["name", "code"]


def test_a_typed_name_finds_its_material_and_notes_the_use(store: Store, formula: int) -> None:
    assert opened(store, formula).draft.lines[0].material_id == 1
    assert count(store, DraftMaterial) == 1
    with pytest.raises(Exception, match="is used"):
        delete_unused(store, 1)


def test_a_line_keeps_its_material_when_that_is_renamed(store: Store, formula: int) -> None:
    material = load_material(store, 1)
    revise_material(store, 1, MaterialForm.of(material).but(name="Glycerol"), material.row_version)
    saved(store, formula, "6")
    line = opened(store, formula).draft.lines[0]
    assert (line.typed, line.material_id) == ("Glycerin", 1)


def test_typing_on_in_one_field_is_one_step_and_another_field_is_the_next(store: Store, formula: int) -> None:
    for text in ("6", "6.", "6.5"):
        saved(store, formula, text)
    assert count(store, DraftStep) == 2
    there = opened(store, formula)
    save_draft(store, formula, replace(there.draft, name="Oat cream"), SaveOrigin(there.row_version, "one"))
    assert count(store, DraftStep) == 3
    assert opened(store, formula).undo == "Name"


def test_typing_that_ends_where_it_began_is_no_step(store: Store, formula: int) -> None:
    start = opened(store, formula).row_version
    saved(store, formula, "6")
    saved(store, formula, "5")
    assert count(store, DraftStep) == 1
    assert opened(store, formula).undo == ""
    with pytest.raises(DraftConflict):
        saved(store, formula, "7", editor="two", version=start)


def test_a_pause_ends_a_step(store: Store, formula: int, monkeypatch: pytest.MonkeyPatch) -> None:
    saved(store, formula, "6")
    later = steps.now() + timedelta(seconds=6)
    monkeypatch.setattr(steps, "now", lambda: later)
    saved(store, formula, "7")
    assert count(store, DraftStep) == 3


def test_nothing_is_written_when_nothing_changed(store: Store, formula: int) -> None:
    before = opened(store, formula)
    save_draft(store, formula, before.draft, SaveOrigin(0, "somebody"))
    assert opened(store, formula) == before


def test_undo_and_redo_walk_the_steps_and_the_use_of_materials(store: Store, formula: int) -> None:
    there = opened(store, formula)
    save_draft(
        store, formula, replace(there.draft, lines=()), SaveOrigin(there.row_version, "one"), change="Removed Glycerin"
    )
    assert count(store, DraftMaterial) == 0
    assert opened(store, formula).undo == "Removed Glycerin"
    assert undo(store, formula, "one").draft.lines[0].typed == "Glycerin"
    assert count(store, DraftMaterial) == 1
    assert (opened(store, formula).undo, opened(store, formula).redo) == ("", "Removed Glycerin")
    assert redo(store, formula, "one").draft.lines == ()
    with pytest.raises(Invalid, match="nothing to redo"):
        redo(store, formula, "one")


def test_there_is_nothing_to_undo_at_the_start(store: Store, formula: int) -> None:
    with pytest.raises(Invalid, match="nothing to undo"):
        undo(store, formula, "one")


def test_a_change_after_undo_forgets_what_could_be_redone(store: Store, formula: int) -> None:
    saved(store, formula, "6")
    undo(store, formula, "one")
    saved(store, formula, "7")
    assert opened(store, formula).redo == ""
    undo(store, formula, "one")
    assert amount(store, formula) == "5"


def test_only_so_many_steps_are_kept(store: Store, formula: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(steps, "MOST_STEPS", 3)
    for n in range(6):
        saved(store, formula, str(n), editor=f"page {n}")
    assert count(store, DraftStep) == 3
    assert opened(store, formula).undo


def test_a_save_from_an_older_state_of_another_page_is_refused_whole(store: Store, formula: int) -> None:
    start = opened(store, formula).row_version
    saved(store, formula, "6", editor="one", version=start)
    with pytest.raises(DraftConflict) as caught:
        saved(store, formula, "7", editor="two", version=start)
    assert caught.value.theirs.draft.lines[0].amount == "6"
    assert amount(store, formula) == "6"


def test_a_page_never_stands_against_itself(store: Store, formula: int) -> None:
    start = opened(store, formula).row_version
    for text in ("6", "7", "8"):
        saved(store, formula, text, editor="one", version=start)
    assert amount(store, formula) == "8"


def test_an_undo_on_one_page_is_a_change_for_the_other(store: Store, formula: int) -> None:
    saved(store, formula, "6", editor="two")
    start = opened(store, formula).row_version
    undo(store, formula, "one")
    with pytest.raises(DraftConflict):
        saved(store, formula, "7", editor="two", version=start)


def test_more_lines_than_a_formula_holds_are_refused(store: Store, formula: int) -> None:
    lines = tuple(DraftLine(f"l{n}", "p", "x") for n in range(MOST_LINES + 1))
    with pytest.raises(Invalid, match="at most 300 lines"):
        save_draft(store, formula, Draft(lines=lines), SaveOrigin(1, "one"))


def test_a_code_that_is_taken_is_not_taken_over_and_says_so(store: Store, formula: int) -> None:
    create(store, "Balm", code="B")
    there = opened(store, formula)
    after = save_draft(store, formula, replace(there.draft, code="B"), SaveOrigin(there.row_version, "one"))
    assert after.code == "OHC"
    assert code_faults(after)[0].message == "B is the code of another formula; until then it stays OHC."


def test_a_retired_formula_leaves_the_list_and_comes_back(store: Store, formula: int) -> None:
    retire(store, formula)
    assert list_formulas(store) == []
    assert [row.id for row in list_formulas(store, retired=True)] == [formula]
    bring_back(store, formula)
    assert [row.id for row in list_formulas(store, "cream oat")] == [formula]
    assert list_formulas(store, "cream soap") == []


def test_what_is_not_there_is_not_found(store: Store) -> None:
    for action in (undo, redo):
        with pytest.raises(NotFound):
            action(store, 99, "one")
    with pytest.raises(NotFound):
        retire(store, 99)


def test_a_save_that_fails_at_any_statement_leaves_nothing(
    store: Store, formula: int, fail_at: Callable[[int], AbstractContextManager[list[str]]]
) -> None:
    before = opened(store, formula)
    changed = replace(before.draft, name="Oat balm", lines=())
    for nth in range(1, 40):
        with fail_at(nth) as failed, suppress(OSError):
            save_draft(store, formula, changed, SaveOrigin(before.row_version, f"page {nth}"))
        if not failed:
            break
        assert opened(store, formula) == before
    assert nth > 5
    assert opened(store, formula).name == "Oat balm"
