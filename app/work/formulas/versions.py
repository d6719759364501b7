"""Versions: a formula kept for good, with its materials as they were; read, kept, branched, taken back up."""

from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.jurisdiction import Jurisdiction
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import Branch, Exposure, FormulaRow, FormulaVersion, VersionLine
from app.work.action import action
from app.work.clock import now
from app.work.formulas.declaring import Declared, DeclaredLists, declared_everywhere, declared_formula
from app.work.formulas.draft import Draft
from app.work.formulas.editing import find, insert
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.results import read_complete
from app.work.formulas.steps import OpenDraft, add_step, opened
from app.work.typed_text import clean_text, one_line


@dataclass(frozen=True, slots=True)
class VersionRow:
    """A version as the list shows it; ``batches`` counts the batches made from it."""

    id: int
    number: int
    note: str
    kept_at: datetime
    kept_by: str
    batches: int


@dataclass(frozen=True, slots=True)
class VersionOrigin:
    """Where a formula was branched from."""

    formula_id: int
    name: str
    version_id: int
    number: int


def _find_version(session: Session, version_id: int) -> FormulaVersion:
    version = session.get(FormulaVersion, version_id)
    if version is None:
        raise NotFound("There is no such version.")
    return version


def read_version(session: Session, version_id: int) -> Formula:
    """Read the formula of a version: the value that was kept, with its materials, loss, scales and prices.

    Raises:
        NotFound: when there is no such version.
    """
    return formula_of(_find_version(session, version_id))


@lru_cache(maxsize=64)
def _kept_formula(value: str) -> Formula:
    """Read a kept value; a page asks for the same one several times, and neither text nor value ever changes."""
    return Formula.from_json(value)


def formula_of(version: FormulaVersion) -> Formula:
    """Return the formula that a version keeps."""
    return replace(
        _kept_formula(version.value),
        formula_id=version.formula_id,
        version_id=version.id,
        version_number=version.number,
    )


def kept_lists(session: Session, version_id: int) -> DeclaredLists | None:
    """Return the ingredient lists that were kept with a version; None where it is older than that.

    Raises:
        NotFound: when there is no such version.
    """
    kept = _find_version(session, version_id).declared
    return None if kept is None else DeclaredLists.from_json(kept)


def ingredient_list(session: Session, formula: Formula, law: Jurisdiction | None = None) -> Declared:
    """Return the list of a formula under a law, its own where none is named: of a version as it was kept with it."""
    law = law or formula.jurisdiction
    kept = None if formula.version_id is None else kept_lists(session, formula.version_id)
    return (kept and kept.under(law)) or declared_formula(formula, law)


def version_draft(session: Session, version_id: int) -> tuple[FormulaVersion, Draft]:
    """Read a version with what was typed, to make a draft of it again; no number is ever read from that.

    Raises:
        NotFound: when there is no such version.
    """
    version = _find_version(session, version_id)
    return version, Draft.from_json(version.content)


def list_versions(session: Session, formula_id: int) -> list[VersionRow]:
    """Return the versions of a formula, newest first."""
    batches = select(func.count(Batch.id)).where(Batch.version_id == FormulaVersion.id).scalar_subquery()
    columns = (FormulaVersion.id, FormulaVersion.number, FormulaVersion.note, FormulaVersion.kept_at)
    asked = select(*columns, FormulaVersion.kept_by, batches).where(FormulaVersion.formula_id == formula_id)
    return [VersionRow(*row) for row in session.execute(asked.order_by(FormulaVersion.number.desc()))]


def origin_of(session: Session, formula_id: int) -> VersionOrigin | None:
    """Return which version a formula was branched from; None when it was started from nothing."""
    asked = (
        select(FormulaRow.id, FormulaRow.name, FormulaVersion.id, FormulaVersion.number)
        .join(FormulaVersion, FormulaVersion.formula_id == FormulaRow.id)
        .join(Branch, Branch.version_id == FormulaVersion.id)
        .where(Branch.formula_id == formula_id)
    )
    row = session.execute(asked).first()
    return VersionOrigin(*row) if row else None


@action(once="version of {formula_id}")
def keep_version(session: Session, formula_id: int, note: str, who: str, *, key: str = "") -> int:
    """Keep the draft as a version for good and give the version's id.

    Raises:
        IncompleteFormula: with every fault, when the draft does not add up.
        Invalid: at ``version_note`` or ``who``, or at ``version_note`` when nothing changed since the last version.
        NotFound: when there is no such formula.
    """
    note, who = clean_text(note, "version_note"), one_line(who, "who")
    return keep_in(session, find(session, formula_id), note, who).id


def keep_in(session: Session, formula: FormulaRow, note: str, who: str) -> FormulaVersion:
    """Keep a version inside a transaction that is already open.

    Raises:
        IncompleteFormula: with every fault, when the draft does not add up.
        Invalid: at ``version_note``, when nothing but prices changed since the last version.
    """
    current = opened(session, formula)
    draft = replace(current.draft, code=formula.code)
    value = read_complete(session, replace(current, draft=draft))
    latest = latest_version(session, formula.id)
    if latest is not None and Formula.from_json(latest.value).without_prices() == value.without_prices():
        raise Invalid("version_note", f"Nothing changed since version {latest.number}.")
    version = FormulaVersion(
        formula_id=formula.id,
        number=(latest.number if latest else 0) + 1,
        name=value.name,
        exposure=Exposure(value.exposure),
        note=note,
        kept_at=now(),
        kept_by=who,
        content=draft.to_json(),
        value=value.to_json(),
        declared=declared_everywhere(value).to_json(),
    )
    version.lines = version_lines(value)
    session.add(version)
    session.flush()
    return version


def latest_version(session: Session, formula_id: int) -> FormulaVersion | None:
    """Return the newest version of a formula."""
    asked = select(FormulaVersion).where(FormulaVersion.formula_id == formula_id)
    return session.scalars(asked.order_by(FormulaVersion.number.desc()).limit(1)).first()


def version_lines(value: Formula) -> list[VersionLine]:
    """Return the lines as rows: they hold the materials on the shelf and are found by queries."""
    places = [(phase, line) for phase in value.phases for line in phase.lines]
    return [
        VersionLine(
            position=position,
            line_key=line.key,
            phase=phase.letter,
            material_id=line.material.id,
            name=line.name,
            percent=line.percent,
            qs=line.is_remainder,
            temperature_c=phase.temperature_c,
        )
        for position, (phase, line) in enumerate(places)
    ]


@action(once="branch of {version_id}")
def branch(session: Session, version_id: int, name: str, *, key: str = "") -> int:
    """Start a new formula from a version and give its id.

    Raises:
        Invalid: at ``name``, when it cannot be read.
        NotFound: when there is no such version.
    """
    version, content = version_draft(session, version_id)
    clean = one_line(name, "name") or one_line(f"{version.name}, branch", "name")
    origin = f"Branched from version {version.number} of {version.name}"
    formula = insert(session, clean, "", content, origin)
    session.add(Branch(formula_id=formula.id, version_id=version.id))
    return formula.id


def use_version(store: Store, formula_id: int, version_id: int, editor: str) -> OpenDraft:
    """Make the content of a version the draft again; one step, so that it can be undone.

    Raises:
        NotFound: when the formula has no such version.
    """
    with store.transaction() as session:
        formula = find(session, formula_id)
        version, content = version_draft(session, version_id)
        if version.formula_id != formula_id:
            raise NotFound("This formula has no such version.")
        current = opened(session, formula)
        draft = match_materials(session, replace(content, code=formula.code), content)
        if draft != current.draft:
            add_step(session, formula, draft, change=f"Version {version.number} made the draft again", editor=editor)
        return opened(session, formula)


def version_numbered(session: Session, formula_id: int, number: int) -> int:
    """Return the id of a version by its number.

    Raises:
        NotFound: when the formula has no such version.
    """
    asked = select(FormulaVersion.id).where(FormulaVersion.formula_id == formula_id, FormulaVersion.number == number)
    found = session.scalar(asked)
    if found is None:
        raise NotFound(f"There is no version {number} of this formula.")
    return found
