"""Versions: a formula kept for good, with its materials as they were; read, kept, branched, taken back up."""

from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import Branch, Exposure, Formula, FormulaVersion, VersionLine
from app.work.clock import now
from app.work.formulas.deeds import find, insert
from app.work.formulas.draft import Draft
from app.work.formulas.reading import read, sound
from app.work.formulas.results import read_ground
from app.work.formulas.shelf import Shelf, from_json, settle, shelf_of, to_json
from app.work.formulas.sound import SoundFormula, SoundPhase
from app.work.formulas.steps import OpenDraft, add_step, opened
from app.work.once import earlier_result, remember, scoped
from app.work.typed import one_line, words


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
class Origin:
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


def read_version(session: Session, version_id: int) -> SoundFormula:
    """Read a version with its materials as they were when it was kept.

    Raises:
        NotFound: when there is no such version.
    """
    version = _find_version(session, version_id)
    usual = read_ground(session).usual
    reading = read(Draft.from_json(version.content), from_json(version.materials), usual)
    return sound(reading, version.formula_id, version_id=version.id, number=version.number)


def version_content(session: Session, version_id: int) -> tuple[FormulaVersion, Draft, Shelf]:
    """Read a version as it was typed, with its pinned materials.

    Raises:
        NotFound: when there is no such version.
    """
    version = _find_version(session, version_id)
    return version, Draft.from_json(version.content), from_json(version.materials)


def list_versions(session: Session, formula_id: int) -> list[VersionRow]:
    """List the versions of a formula, newest first."""
    batches = select(func.count(Batch.id)).where(Batch.version_id == FormulaVersion.id).scalar_subquery()
    columns = (FormulaVersion.id, FormulaVersion.number, FormulaVersion.note, FormulaVersion.kept_at)
    asked = select(*columns, FormulaVersion.kept_by, batches).where(FormulaVersion.formula_id == formula_id)
    return [VersionRow(*row) for row in session.execute(asked.order_by(FormulaVersion.number.desc()))]


def origin_of(session: Session, formula_id: int) -> Origin | None:
    """Tell which version a formula was branched from; None when it was started from nothing."""
    asked = (
        select(Formula.id, Formula.name, FormulaVersion.id, FormulaVersion.number)
        .join(FormulaVersion, FormulaVersion.formula_id == Formula.id)
        .join(Branch, Branch.version_id == FormulaVersion.id)
        .where(Branch.formula_id == formula_id)
    )
    row = session.execute(asked).first()
    return Origin(*row) if row else None


def keep_version(store: Store, formula_id: int, note: str, who: str, *, key: str = "") -> int:
    """Keep the draft as a version for good and give the version's id.

    Raises:
        NotSound: with every fault, when the draft does not add up.
        Invalid: at ``version_note`` or ``who``, or at ``version_note`` when nothing changed since the last version.
        NotFound: when there is no such formula.
    """
    note, who = words(note, "version_note"), one_line(who, "who")
    with store.transaction() as session:
        earlier = earlier_result(session, scoped(f"version of {formula_id}", key))
        if earlier is not None:
            return int(earlier)
        version = keep_in(session, find(session, formula_id), note, who)
        remember(session, scoped(f"version of {formula_id}", key), str(version.id))
        return version.id


def keep_in(session: Session, formula: Formula, note: str, who: str) -> FormulaVersion:
    """Keep a version inside a transaction that is already open."""
    there = opened(session, formula)
    draft = replace(there.draft, code=formula.code)
    shelf = shelf_of(session, draft)
    whole = sound(read(draft, shelf, read_ground(session).usual), formula.id)
    latest = _latest(session, formula.id)
    pinned = to_json(shelf.values())
    if latest is not None and (latest.content, latest.materials) == (draft.to_json(), pinned):
        raise Invalid("version_note", f"Nothing changed since version {latest.number}.")
    version = FormulaVersion(
        formula_id=formula.id,
        number=(latest.number if latest else 0) + 1,
        name=whole.name,
        exposure=Exposure(whole.exposure),
        note=note,
        kept_at=now(),
        kept_by=who,
        content=draft.to_json(),
        materials=pinned,
    )
    version.lines = [_row(position, phase, place) for position, (phase, place) in enumerate(_places(whole))]
    session.add(version)
    session.flush()
    return version


def _latest(session: Session, formula_id: int) -> FormulaVersion | None:
    asked = select(FormulaVersion).where(FormulaVersion.formula_id == formula_id)
    return session.scalars(asked.order_by(FormulaVersion.number.desc()).limit(1)).first()


def _places(whole: SoundFormula) -> list[tuple[SoundPhase, int]]:
    return [(phase, place) for phase in whole.phases for place in range(len(phase.lines))]


def _row(position: int, phase: SoundPhase, place: int) -> VersionLine:
    line = phase.lines[place]
    return VersionLine(
        position=position,
        line_key=line.key,
        phase=phase.letter,
        material_id=line.material_id,
        name=line.name,
        percent=line.percent,
        qs=line.qs,
        temperature_c=phase.temperature_c,
    )


def branch(store: Store, version_id: int, name: str, *, key: str = "") -> int:
    """Start a new formula from a version and give its id.

    Raises:
        Invalid: at ``name``, when it cannot be read.
        NotFound: when there is no such version.
    """
    clean = one_line(name, "name")
    with store.transaction() as session:
        earlier = earlier_result(session, scoped(f"branch of {version_id}", key))
        if earlier is not None:
            return int(earlier)
        version, content, _ = version_content(session, version_id)
        deed = f"Branched from version {version.number} of {version.name}"
        formula = insert(session, clean or f"{version.name}, branch", "", content, deed)
        session.add(Branch(formula_id=formula.id, version_id=version.id))
        remember(session, scoped(f"branch of {version_id}", key), str(formula.id))
        return formula.id


def use_version(store: Store, formula_id: int, version_id: int, editor: str) -> OpenDraft:
    """Make the content of a version the draft again; one step, so that it can be undone.

    Raises:
        NotFound: when the formula has no such version.
    """
    with store.transaction() as session:
        formula = find(session, formula_id)
        version, content, _ = version_content(session, version_id)
        if version.formula_id != formula_id:
            raise NotFound("This formula has no such version.")
        there = opened(session, formula)
        draft = settle(session, replace(content, code=formula.code), content)
        if draft != there.draft:
            add_step(session, formula, draft, deed=f"Version {version.number} made the draft again", editor=editor)
        return opened(session, formula)


def version_numbered(session: Session, formula_id: int, number: int) -> int:
    """Give the id of a version by its number.

    Raises:
        NotFound: when the formula has no such version.
    """
    asked = select(FormulaVersion.id).where(FormulaVersion.formula_id == formula_id, FormulaVersion.number == number)
    found = session.scalar(asked)
    if found is None:
        raise NotFound(f"There is no version {number} of this formula.")
    return found
