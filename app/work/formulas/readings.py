"""What was read at the bench of a formula, beside what is predicted."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.batches import PH, Batch, BatchReading
from app.store.formulas import FormulaVersion

MOST_READINGS = 40


@dataclass(frozen=True, slots=True)
class PhReading:
    """A pH read in a batch of a formula."""

    ph: Decimal
    batch_id: int
    batch: str
    version: int
    taken_at: datetime


def ph_readings(session: Session, formula_id: int) -> tuple[PhReading, ...]:
    """Return the pH readings of every batch of a formula, newest first; the last reading of each batch, 40 at most."""
    asked = (
        select(BatchReading.value, Batch.id, Batch.number, FormulaVersion.number, BatchReading.taken_at)
        .join(Batch, BatchReading.batch_id == Batch.id)
        .join(FormulaVersion, Batch.version_id == FormulaVersion.id)
        .where(FormulaVersion.formula_id == formula_id, BatchReading.kind == PH)
        .where(BatchReading.value.is_not(None))
        .order_by(BatchReading.id.desc())
    )
    last: dict[int, PhReading] = {}
    for ph, batch_id, batch, version, taken_at in session.execute(asked.limit(MOST_READINGS * 5)):
        if ph is not None:
            last.setdefault(batch_id, PhReading(ph, batch_id, batch, version, taken_at))
    return tuple(last.values())[:MOST_READINGS]
