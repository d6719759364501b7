"""Planning a batch: pins a version, issues a number, writes what is to be weighed."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.batch_number import format_number, series_key
from app.science.batch_size import BatchSize, read_batch_size
from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.store.batches import Batch, BatchLine
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import Formula, FormulaVersion
from app.store.workshop import next_in_series, scales, the_workshop
from app.work.batches.loading import log
from app.work.clock import now
from app.work.formulas.deeds import find, open_draft
from app.work.formulas.reading import NotSound
from app.work.formulas.sound import SoundFormula
from app.work.formulas.versions import keep_in, read_version
from app.work.once import earlier_result, remember, scoped
from app.work.sheets import BatchSheet, batch_sheet


@dataclass(frozen=True, slots=True)
class Plan:
    """What was typed to plan a batch. Without ``version_id`` the draft as it stands is pinned."""

    formula_id: int | None
    version_id: int | None
    size: str
    fill: str = ""
    loss: str = ""
    planned_on: str = ""
    made_by: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class FormulaChoice:
    """A formula that a batch can be planned of."""

    id: int
    code: str
    name: str


@dataclass(frozen=True, slots=True)
class VersionChoice:
    """A version that a batch can pin."""

    id: int
    number: int
    note: str


@dataclass(frozen=True, slots=True)
class PlanningChoices:
    """What the planning page offers: formulas, versions of the chosen one, and its usual size, fill and loss."""

    formulas: tuple[FormulaChoice, ...]
    formula_id: int | None
    versions: tuple[VersionChoice, ...]
    size: str
    fill: str
    loss: str


def planning_choices(store: Store, formula_id: int | None) -> PlanningChoices:
    """List what can be planned; the first formula is taken when none is named.

    Raises:
        NotFound: when the named formula does not exist.
    """
    with store.reading() as session:
        live = select(Formula).where(Formula.retired_at.is_(None)).order_by(Formula.name)
        formulas = tuple(FormulaChoice(f.id, f.code, f.name) for f in session.scalars(live))
        chosen = formula_id or (formulas[0].id if formulas else None)
        if chosen is None:
            return PlanningChoices((), None, (), "", "", "")
        draft = open_draft(session, chosen).draft
        loss = draft.loss_percent or plain(the_workshop(session).loss_percent)
        return PlanningChoices(formulas, chosen, _versions(session, chosen), draft.batch, draft.fill, loss)


def _versions(session: Session, formula_id: int) -> tuple[VersionChoice, ...]:
    newest_first = FormulaVersion.number.desc()
    asked = select(FormulaVersion).where(FormulaVersion.formula_id == formula_id).order_by(newest_first)
    return tuple(VersionChoice(v.id, v.number, v.note) for v in session.scalars(asked))


def plan_batch(store: Store, plan: Plan) -> int:
    """Plan a batch and give its id; the same form taken twice gives the same batch.

    The version is pinned, the number issued and the weights written in one transaction; two people who press at
    once get two numbers.

    Raises:
        Invalid: at ``size``, ``fill``, ``loss``, ``planned_on`` or ``draft``, when it cannot be planned; no number
            is used up.
        NotFound: when the formula or the version does not exist.
    """
    key = scoped("plan", plan.key)
    with store.transaction() as session:
        earlier = earlier_result(session, key)
        if earlier is not None:
            return int(earlier)
        version = _pinned(session, plan)
        formula = read_version(session, version.id)
        size, loss, day = _read(plan, formula)
        sheet = _sheet(session, formula, size, plan.size, loss)
        batch = _written(session, plan, version, sheet, day)
        session.flush()
        log(batch, "planned", by=plan.made_by, new=f"{plan.size}, version {version.number}")
        remember(session, key, str(batch.id))
        return batch.id


def _pinned(session: Session, plan: Plan) -> FormulaVersion:
    if plan.formula_id is None:
        raise Invalid("formula", "Choose a formula.")
    if plan.version_id is None:
        return _pinned_draft(session, plan.formula_id, plan.made_by)
    version = session.get(FormulaVersion, plan.version_id)
    if version is None or version.formula_id != plan.formula_id:
        raise NotFound("There is no such version of this formula.")
    return version


def _pinned_draft(session: Session, formula_id: int, who: str) -> FormulaVersion:
    try:
        return keep_in(session, find(session, formula_id), "Kept when a batch was planned", who)
    except NotSound as error:
        raise Invalid("draft", f"The draft does not add up yet: {error}") from error
    except Invalid:
        newest = FormulaVersion.number.desc()
        asked = select(FormulaVersion).where(FormulaVersion.formula_id == formula_id).order_by(newest).limit(1)
        return session.scalars(asked).one()


def _read(plan: Plan, formula: SoundFormula) -> tuple[BatchSize, Decimal, date]:
    size = read_batch_size(plan.size, plan.fill or formula.fill, formula.density_g_ml, field="size")
    loss = parse_number(plan.loss, "loss", low=Decimal(0), high=Decimal(99)) if plan.loss.strip() else Decimal(0)
    try:
        return size, loss, date.fromisoformat(plan.planned_on)
    except ValueError as error:
        raise Invalid("planned_on", "Write the date as year-month-day, such as 2026-11-30.") from error


def _sheet(session: Session, formula: SoundFormula, size: BatchSize, size_text: str, loss: Decimal) -> BatchSheet:
    try:
        return batch_sheet(formula, size, size_text, loss, scales(session))
    except Invalid as error:
        raise Invalid("size", error.message) from error


def _written(session: Session, plan: Plan, version: FormulaVersion, sheet: BatchSheet, day: date) -> Batch:
    batch = Batch(
        number=_issue_number(session, sheet.formula.code, day),
        version_id=version.id,
        size_g=sheet.size.net_g,
        size_text=plan.size.strip()[:80],
        loss_percent=sheet.loss_percent,
        fill_g=sheet.size.fill_g,
        planned_on=day,
        made_by=plan.made_by.strip()[:80],
        created_at=now(),
        lines=_lines(sheet),
    )
    session.add(batch)
    return batch


def _lines(sheet: BatchSheet) -> list[BatchLine]:
    return [
        BatchLine(
            position=place,
            phase=row.line.phase,
            material_id=row.line.material_id,
            name=row.line.name,
            percent=row.line.percent,
            target_g=row.target_g,
            shown_g=row.shown_g,
            scale=row.scale,
        )
        for place, row in enumerate(sheet.lines, start=1)
    ]


def _issue_number(session: Session, code: str, day: date) -> str:
    pattern = the_workshop(session).batch_number_pattern
    series = series_key(pattern, code, day)
    while True:
        number = format_number(pattern, code, day, next_in_series(session, series))
        if session.scalar(select(Batch.id).where(Batch.number == number)) is None:
            return number
