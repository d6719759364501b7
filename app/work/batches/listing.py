"""The list of batches, searched by any words."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from sqlalchemy import Select, or_, select

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.formulas import Formula, FormulaVersion

Rows: TypeAlias = Select[int, str, int, str, int, Decimal, BatchState, date, str]
MOST_ROWS = 200
MOST_WORDS = 8


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One batch in the list."""

    id: int
    number: str
    formula_id: int
    formula: str
    version_number: int
    size_g: Decimal
    state: BatchState
    planned_on: date
    made_by: str


def find_batches(store: Store, words: str = "", state: str = "", formula_id: int | None = None) -> list[BatchRow]:
    """List batches, newest first, that hold every word in number, formula, code, maker, material or lot code.

    At most 200 are listed.
    """
    wanted = _matching(_all_rows(), words)
    if state in {known.value for known in BatchState}:
        wanted = wanted.where(Batch.state == BatchState(state))
    if formula_id is not None:
        wanted = wanted.where(FormulaVersion.formula_id == formula_id)
    with store.reading() as session:
        return [BatchRow(*row) for row in session.execute(wanted.limit(MOST_ROWS))]


def latest_batches(store: Store, states: Collection[BatchState], most: int) -> tuple[BatchRow, ...]:
    """List the newest batches in any of some states, however many others came after them."""
    wanted = _all_rows().where(Batch.state.in_(states)).limit(most)
    with store.reading() as session:
        return tuple(BatchRow(*row) for row in session.execute(wanted))


def _all_rows() -> Rows:
    return (
        select(
            Batch.id,
            Batch.number,
            FormulaVersion.formula_id,
            FormulaVersion.name,
            FormulaVersion.number,
            Batch.size_g,
            Batch.state,
            Batch.planned_on,
            Batch.made_by,
        )
        .join(FormulaVersion, Batch.version_id == FormulaVersion.id)
        .join(Formula, FormulaVersion.formula_id == Formula.id)
        .order_by(Batch.planned_on.desc(), Batch.id.desc())
    )


def _matching(wanted: Rows, words: str) -> Rows:
    for word in words.split()[:MOST_WORDS]:
        sign = word[:80]
        in_lines = (
            select(BatchLine.batch_id)
            .outerjoin(BatchLine.weighings)
            .where(
                or_(
                    BatchLine.name.icontains(sign, autoescape=True),
                    BatchWeighing.lot_text.icontains(sign, autoescape=True),
                )
            )
        )
        columns = (Batch.number, FormulaVersion.name, Formula.code, Batch.made_by)
        wanted = wanted.where(or_(Batch.id.in_(in_lines), *(c.icontains(sign, autoescape=True) for c in columns)))
    return wanted
