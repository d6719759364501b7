"""What a person does with a formula: start it, save its draft, undo, redo, retire."""

import re
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.formulas import DraftStep, Exposure, FormulaRow
from app.work.action import action
from app.work.clock import now
from app.work.form import Form, rule
from app.work.form_fields import Name, ShortText
from app.work.formulas.draft import Draft, DraftPhase
from app.work.formulas.faults import FieldFault
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.resolve import MOST_LINES, TOO_MANY
from app.work.formulas.steps import OpenDraft, add_step, code_taken, first_step, move_in_history, opened

LONGEST_CODE = 12
EMPTY = Draft(phases=(DraftPhase("p1"),))


@dataclass(frozen=True, slots=True)
class SaveOrigin:
    """Where a save comes from: the version of the formula it started from and which open page typed it.

    ``base`` is the draft it started from, where that is known.
    """

    row_version: int
    editor: str
    base: Draft | None = None


class DraftConflict(Conflict):
    """Another page saved the draft since this one was read; ``theirs`` is what stands there now."""

    def __init__(self, theirs: OpenDraft) -> None:
        super().__init__("This formula was changed in another place in the meantime.")
        self.theirs = theirs


def find(session: Session, formula_id: int) -> FormulaRow:
    """Read a formula.

    Raises:
        NotFound: when there is none.
    """
    formula = session.get(FormulaRow, formula_id)
    if formula is None:
        raise NotFound("There is no such formula.")
    return formula


def open_draft(session: Session, formula_id: int) -> OpenDraft:
    """Read the draft of a formula as it stands.

    Raises:
        NotFound: when there is no such formula.
    """
    return opened(session, find(session, formula_id))


def suggest_code(session: Session, name: str) -> str:
    """Make a short code of the first letters of a name that no formula has yet."""
    letters = "".join(word[0] for word in re.findall(r"[^\W\d_]+", name)).upper()[:4]
    stem = letters if len(letters) > 1 else (re.sub(r"\W", "", name).upper()[:3] or "F")
    taken = set(session.scalars(select(FormulaRow.code).where(FormulaRow.code.startswith(stem, autoescape=True))))
    return next(code for n in range(1, len(taken) + 3) if (code := stem if n == 1 else f"{stem}{n}") not in taken)


class NewFormula(Form):
    """A formula that is started; checked with the session."""

    name = Name("Name", "Enter a name for the formula.")
    code = ShortText("Code", longest=LONGEST_CODE)

    @rule
    def code_is_free(self) -> None:
        """Refuse the code of another formula."""
        if self.code and code_taken(self.given, self.code):
            raise Invalid("code", f"{self.code} is the code of another formula.")


@action(once="formula")
def create(session: Session, name: str, *, code: str = "", content: Draft = EMPTY, key: str = "") -> int:
    """Start a formula and give its id; the same form taken twice gives the same formula.

    Raises:
        Faults: at ``name`` or ``code``, with everything that is wrong.
    """
    form = NewFormula(name, code).checked(session)
    return insert(session, form.name, form.code, content, "Started").id


@action(once="copy of {formula_id}")
def copy_formula(session: Session, formula_id: int, *, key: str = "") -> int:
    """Start a new formula from the draft of another as it stands, and give its id; one key makes one copy.

    Raises:
        NotFound: when there is no such formula.
    """
    current = open_draft(session, formula_id)
    return insert(session, f"{current.name}, copy", "", current.draft, f"Copied from {current.name}").id


def insert(session: Session, name: str, code: str, content: Draft, change: str) -> FormulaRow:
    """Write a new formula inside a transaction that is already open."""
    code = code or suggest_code(session, name)
    draft = match_materials(session, replace(content, name=name, code=code), content)
    moment = now()
    exposure = Exposure(draft.exposure) if draft.exposure in set(Exposure) else Exposure.LEAVE_ON
    formula = FormulaRow(code=code, name=name, exposure=exposure, created_at=moment, changed_at=moment)
    formula.product_type = draft.product_type
    session.add(formula)
    first_step(session, formula, draft, change)
    return formula


def save_draft(store: Store, formula_id: int, draft: Draft, origin: SaveOrigin, *, change: str = "") -> OpenDraft:
    """Save what is typed; nothing is written when nothing changed.

    Raises:
        DraftConflict: when another page changed the draft since ``origin.row_version``.
        Invalid: at ``lines``, when there are more lines than a formula holds.
        NotFound: when there is no such formula.
    """
    if len(draft.lines) > MOST_LINES:
        raise Invalid("lines", TOO_MANY)
    with store.transaction() as session:
        formula = find(session, formula_id)
        current = opened(session, formula)
        matched = match_materials(session, draft, current.draft)
        if matched == current.draft:
            return current
        if origin.base != current.draft and _changed_elsewhere(session, formula, origin):
            raise DraftConflict(current)
        add_step(session, formula, matched, change=change, editor=origin.editor)
        return opened(session, formula)


def _changed_elsewhere(session: Session, formula: FormulaRow, origin: SaveOrigin) -> bool:
    if formula.row_version == origin.row_version:
        return False
    newer = (DraftStep.formula_id == formula.id, DraftStep.row_version > origin.row_version)
    return session.scalar(select(DraftStep.id).where(*newer, DraftStep.editor != origin.editor).limit(1)) is not None


def undo(store: Store, formula_id: int, editor: str) -> OpenDraft:
    """Take the last step back.

    Raises:
        Invalid: when there is nothing to take back.
        NotFound: when there is no such formula.
    """
    return _walk(store, formula_id, -1, editor, "There is nothing to undo.")


def redo(store: Store, formula_id: int, editor: str) -> OpenDraft:
    """Do the step again that was taken back last.

    Raises:
        Invalid: when there is nothing to do again.
        NotFound: when there is no such formula.
    """
    return _walk(store, formula_id, 1, editor, "There is nothing to redo.")


def _walk(store: Store, formula_id: int, steps: int, editor: str, nothing: str) -> OpenDraft:
    with store.transaction() as session:
        formula = find(session, formula_id)
        if not move_in_history(session, formula, steps, editor):
            raise Invalid("", nothing)
        return opened(session, formula)


@action()
def retire(session: Session, formula_id: int) -> None:
    """Take a formula out of the list; its versions and batches stay.

    Raises:
        NotFound: when there is no such formula.
    """
    formula = find(session, formula_id)
    formula.retired_at = formula.retired_at or now()


@action()
def bring_back(session: Session, formula_id: int) -> None:
    """Put a retired formula back into the list.

    Raises:
        NotFound: when there is no such formula.
    """
    find(session, formula_id).retired_at = None


def code_faults(current: OpenDraft) -> tuple[FieldFault, ...]:
    """Return why the code that is typed was not taken."""
    typed = current.draft.code.strip()
    if typed == current.code:
        return ()
    words = f"{typed} is the code of another formula" if typed else "Enter a short code for the formula"
    return (FieldFault("code", f"{words}; until then it stays {current.code}."),)
