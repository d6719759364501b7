"""The life of a formula: its versions, the batches made of each with what was measured, and what branched off."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.store.batches import PH, Batch, BatchLine
from app.store.formulas import Branch, FormulaRow, FormulaVersion
from app.work.batches.batch_readings import yield_percent

MOST_BATCHES = 24
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class BatchFigures:
    """A batch in figures: last pH read, yield in %, and the line furthest from its weight, in % of it.

    ``line_out`` says whether any weight lies outside its band.
    """

    id: int
    number: str
    version: int
    state: str
    ph: Decimal | None
    yield_percent: Decimal | None
    worst_percent: Decimal | None
    line_out: bool


@dataclass(frozen=True, slots=True)
class Life:
    """The versions of a formula (number, note), its batches in order, and its branches by version number."""

    versions: tuple[tuple[int, str], ...]
    batches: tuple[BatchFigures, ...]
    branches: tuple[tuple[int, str], ...]


def life_of(session: Session, formula_id: int) -> Life:
    """Read the life of a formula; the latest 24 batches."""
    versions = select(FormulaVersion.number, FormulaVersion.note).where(FormulaVersion.formula_id == formula_id)
    branches = (
        select(FormulaVersion.number, FormulaRow.name)
        .join(Branch, Branch.version_id == FormulaVersion.id)
        .join(FormulaRow, FormulaRow.id == Branch.formula_id)
        .where(FormulaVersion.formula_id == formula_id)
    )
    made = (
        select(Batch)
        .join(FormulaVersion, Batch.version_id == FormulaVersion.id)
        .where(FormulaVersion.formula_id == formula_id)
        .order_by(Batch.id.desc())
        .options(selectinload(Batch.lines).selectinload(BatchLine.weighings), selectinload(Batch.readings))
        .options(selectinload(Batch.lines).selectinload(BatchLine.heatings))
        .options(selectinload(Batch.version))
    )
    found = list(session.scalars(made.limit(MOST_BATCHES)))
    return Life(
        versions=tuple((row[0], row[1]) for row in session.execute(versions.order_by(FormulaVersion.number))),
        batches=tuple(_figures(batch) for batch in reversed(found)),
        branches=tuple((row[0], row[1]) for row in session.execute(branches.order_by(FormulaVersion.number))),
    )


def _figures(batch: Batch) -> BatchFigures:
    read = [reading.value for reading in batch.readings if reading.kind == PH and reading.value is not None]
    out = [
        not line.low_g <= line.held_g <= line.high_g
        for line in batch.lines
        if line.held_g is not None and line.low_g is not None and line.high_g is not None
    ]
    off = [abs(line.held_g - line.shown_g) / line.shown_g for line in batch.lines if line.held_g and line.shown_g]
    return BatchFigures(
        id=batch.id,
        number=batch.number,
        version=batch.version.number,
        state=batch.state.value,
        ph=read[-1] if read else None,
        yield_percent=yield_percent(batch),
        worst_percent=max(off) * HUNDRED if off else None,
        line_out=any(out),
    )
