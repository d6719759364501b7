"""The steps of a draft: what a save adds, and what undo and redo walk along."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from app.store.formulas import DraftMaterial, DraftStep, Exposure, FormulaRow
from app.store.materials import MaterialRow
from app.work.clock import now
from app.work.formulas.draft import Draft
from app.work.formulas.fields import changes, words_of

MOST_STEPS = 200
ONE_GO = timedelta(seconds=5)
ADDED_THEN_NAMED = ".material"


@dataclass(frozen=True, slots=True)
class OpenDraft:
    """A draft as it stands, with what undo and redo would do in words (empty when there is nothing to do)."""

    formula_id: int
    code: str
    name: str
    draft: Draft
    row_version: int
    changed_at: datetime
    retired: bool
    undo: str = ""
    redo: str = ""


def opened(session: Session, formula: FormulaRow) -> OpenDraft:
    """Read the present step of a formula and what lies on either side of it."""
    near = _near(session, formula)
    draft = Draft.from_json(near[formula.draft_step].content)
    further = near.get(formula.draft_step + 1)
    return OpenDraft(
        formula_id=formula.id,
        code=formula.code,
        name=formula.name,
        draft=draft,
        row_version=formula.row_version,
        changed_at=formula.changed_at,
        retired=formula.retired_at is not None,
        undo=change_words(near[formula.draft_step].change, draft) if formula.draft_step - 1 in near else "",
        redo=change_words(further.change, Draft.from_json(further.content)) if further else "",
    )


def _near(session: Session, formula: FormulaRow) -> dict[int, DraftStep]:
    here = formula.draft_step
    asked = select(DraftStep).where(DraftStep.formula_id == formula.id, DraftStep.step.between(here - 1, here + 1))
    return {step.step: step for step in session.scalars(asked)}


def change_words(change: str, draft: Draft) -> str:
    """Return what a step changed in words: a field path becomes the name of the field."""
    return change if " " in change or not change else words_of(change, draft)


def present_step(session: Session, formula: FormulaRow) -> DraftStep:
    """Return the step a formula stands at."""
    asked = select(DraftStep).where(DraftStep.formula_id == formula.id, DraftStep.step == formula.draft_step)
    return session.scalars(asked).one()


def first_step(session: Session, formula: FormulaRow, draft: Draft, change: str) -> None:
    """Write the first step of a new formula."""
    session.flush()
    _insert(session, formula, 1, draft, change, "")
    use_materials(session, formula.id, set(), _materials(draft))


def add_step(session: Session, formula: FormulaRow, draft: Draft, *, change: str = "", editor: str = "") -> None:
    """Make ``draft`` the present state.

    Typing on in one field within a few seconds stays one step, and no step at all when it ends where it began.
    """
    step = present_step(session, formula)
    before = Draft.from_json(step.content)
    if not change:
        found = changes(before, draft)
        change = found[0].path if len(found) == 1 else f"{len(found)} changes"
    same = change == step.change or (change.endswith(ADDED_THEN_NAMED) and change == step.change + ADDED_THEN_NAMED)
    typed_on = same and " " not in change and not change.endswith((".phase", "qs"))
    in_time = now() - formula.changed_at <= ONE_GO
    if not (typed_on and in_time and editor == step.editor and not _has_later(session, formula)):
        _touch(session, formula, draft, 1)
        _insert(session, formula, formula.draft_step, draft, change, editor)
        old = DraftStep.step <= formula.draft_step - MOST_STEPS
        session.execute(delete(DraftStep).where(DraftStep.formula_id == formula.id, old))
    elif (earlier := _near(session, formula).get(step.step - 1)) and earlier.content == draft.to_json():
        session.delete(step)
        formula.draft_step -= 1
        _touch(session, formula, draft, 0)
        earlier.row_version, earlier.editor = formula.row_version, editor
    else:
        _touch(session, formula, draft, 0)
        step.content, step.row_version = draft.to_json(), formula.row_version
    use_materials(session, formula.id, _materials(before), _materials(draft))


def _has_later(session: Session, formula: FormulaRow) -> bool:
    latest = session.scalar(select(func.max(DraftStep.step)).where(DraftStep.formula_id == formula.id))
    return bool(latest and latest > formula.draft_step)


def _touch(session: Session, formula: FormulaRow, draft: Draft, forward: int) -> None:
    """Move the formula to its next state; what could be redone is forgotten, as in any editor."""
    if forward:
        later = (DraftStep.formula_id == formula.id, DraftStep.step > formula.draft_step)
        session.execute(delete(DraftStep).where(*later))
    formula.draft_step += forward
    formula.changed_at = now()
    take_head(session, formula, draft)
    session.flush()


def _insert(session: Session, formula: FormulaRow, step: int, draft: Draft, change: str, editor: str) -> None:
    session.add(
        DraftStep(
            formula_id=formula.id,
            step=step,
            content=draft.to_json(),
            change=change,
            editor=editor,
            made_at=now(),
            row_version=formula.row_version,
        )
    )
    session.flush()


def move_in_history(session: Session, formula: FormulaRow, steps: int, editor: str) -> bool:
    """Go back (-1) or forth (+1) among the steps; tell whether there was a step to go to."""
    near = _near(session, formula)
    target = near.get(formula.draft_step + steps)
    if target is None:
        return False
    before, draft = (Draft.from_json(near[formula.draft_step].content), Draft.from_json(target.content))
    formula.draft_step += steps
    formula.changed_at = now()
    take_head(session, formula, draft)
    session.flush()
    target.row_version, target.editor = formula.row_version, editor
    use_materials(session, formula.id, _materials(before), _materials(draft))
    return True


def take_head(session: Session, formula: FormulaRow, draft: Draft) -> None:
    """Keep the columns of a formula in step with its draft; a name, code or exposure that cannot stand is not taken."""
    formula.name = draft.name.strip() or formula.name
    formula.product_type = draft.product_type.strip()
    if draft.exposure in set(Exposure):
        formula.exposure = Exposure(draft.exposure)
    code = draft.code.strip()
    if code and code != formula.code and not code_taken(session, code, formula.id):
        formula.code = code


def code_taken(session: Session, code: str, apart_from: int | None = None) -> bool:
    """Return whether another formula has a code."""
    asked = select(FormulaRow.id).where(FormulaRow.code == code, FormulaRow.id != (apart_from or 0))
    return session.scalar(asked) is not None


def _materials(draft: Draft) -> set[int]:
    return {line.material_id for line in draft.lines if line.material_id is not None}


def use_materials(session: Session, formula_id: int, before: set[int], after: set[int]) -> None:
    """Note which materials a draft uses, so that none of them is deleted."""
    if gone := before - after:
        mine = (DraftMaterial.formula_id == formula_id, DraftMaterial.material_id.in_(gone))
        session.execute(delete(DraftMaterial).where(*mine))
    if came := after - before:
        known = session.scalars(select(MaterialRow.id).where(MaterialRow.id.in_(came)))
        session.add_all(DraftMaterial(formula_id=formula_id, material_id=material_id) for material_id in known)
    session.flush()
