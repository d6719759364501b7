"""The list of batches, searched by words, by a material and its lot, by product, day and state."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from sqlalchemy import Select, or_, select, union
from sqlalchemy.orm import aliased

from app.science.numbers import plain
from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.tracing import variants
from app.work.csv_text import write_table

Rows: TypeAlias = Select[int, str, int, str, int, Decimal, BatchState, date, str]
MOST_ROWS = 100
MOST_PRODUCTS = 150
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


@dataclass(frozen=True, slots=True)
class Search:
    """What is looked for; empty parts ask for nothing.

    Attributes:
        words: each in number, product, code, maker or the name of a material, in any case and order.
        material, lot: of one and the same weighing: part of the material's name, and the whole lot as it stands now.
        formula_id: of the product.
        since, until: days a batch was planned for, both inside.
    """

    words: str = ""
    material: str = ""
    lot: str = ""
    state: str = ""
    formula_id: int | None = None
    since: date | None = None
    until: date | None = None


def search_batches(store: Store, search: Search, *, skip: int = 0, most: int | None = None) -> list[BatchRow]:
    """Return the batches that a search finds, newest first; all of them unless ``most`` are asked for."""
    wanted = _all_rows()
    for word in search.words.split()[:MOST_WORDS]:
        sign = word[:80]
        of_material = select(BatchLine.batch_id).where(BatchLine.name.icontains(sign, autoescape=True))
        in_lines = union(of_material, _weighed("", sign)).subquery()
        columns = (Batch.number, FormulaVersion.name, FormulaRow.code, Batch.made_by)
        named = (column.icontains(sign, autoescape=True) for column in columns)
        wanted = wanted.where(or_(Batch.id.in_(select(in_lines.c.batch_id)), *named))
    if search.material.strip() or search.lot.strip():
        wanted = wanted.where(Batch.id.in_(_weighed(search.material, search.lot)))
    if search.state in {known.value for known in BatchState}:
        wanted = wanted.where(Batch.state == BatchState(search.state))
    if search.formula_id is not None:
        wanted = wanted.where(FormulaVersion.formula_id == search.formula_id)
    if search.since is not None:
        wanted = wanted.where(Batch.planned_on >= search.since)
    if search.until is not None:
        wanted = wanted.where(Batch.planned_on <= search.until)
    with store.reading() as session:
        return [BatchRow(*row) for row in session.execute(wanted.offset(skip).limit(most))]


def products_made(store: Store) -> list[tuple[int, str]]:
    """Return the products that were ever planned, by name: the id of the formula, and its name today.

    Of more than can be chosen from none is returned; the words of a search find a product as well.
    """
    planned = select(Batch.id).join(FormulaVersion, Batch.version_id == FormulaVersion.id)
    of_formula = planned.where(FormulaVersion.formula_id == FormulaRow.id).exists()
    asked = select(FormulaRow.id, FormulaRow.name).where(of_formula).order_by(FormulaRow.name).limit(MOST_PRODUCTS + 1)
    with store.reading() as session:
        found = [(key, name) for key, name in session.execute(asked)]
    return found if len(found) <= MOST_PRODUCTS else []


def _weighed(material: str, lot: str) -> Select[int]:
    """Select the batches with a weighing that still stands of a material and a lot."""
    later = aliased(BatchWeighing)
    stands = ~select(later.id).where(later.replaces_id == BatchWeighing.id).exists()
    found = select(BatchLine.batch_id).join(BatchLine.weighings).where(stands, BatchWeighing.grams.is_not(None))
    if material.strip():
        found = found.where(BatchLine.name.icontains(material.strip()[:80], autoescape=True))
    if lot.strip():
        found = found.where(BatchWeighing.lot_text.in_(variants(lot)))
    return found


COLUMNS = ("number", "product", "version", "size_g", "state", "planned_for", "made_by")


def batches_csv(store: Store, search: Search) -> str:
    """Return what a search finds as a table for a spreadsheet, without a limit."""
    rows = (
        {
            "number": row.number,
            "product": row.formula,
            "version": str(row.version_number),
            "size_g": plain(row.size_g),
            "state": row.state.value,
            "planned_for": row.planned_on.isoformat(),
            "made_by": row.made_by,
        }
        for row in search_batches(store, search)
    )
    return write_table(COLUMNS, rows, ("version", "size_g"))


def latest_batches(store: Store, states: Collection[BatchState], most: int) -> tuple[BatchRow, ...]:
    """Return the newest batches in any of some states, however many others came after them."""
    with store.reading() as session:
        # Each state by itself is read off its index, newest first; all of them at once would be sorted anew.
        found = [
            BatchRow(*row)
            for state in states
            for row in session.execute(_all_rows().where(Batch.state == state).limit(most))
        ]
    return tuple(sorted(found, key=lambda row: (row.planned_on, row.id), reverse=True)[:most])


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
        .join(FormulaRow, FormulaVersion.formula_id == FormulaRow.id)
        .order_by(Batch.planned_on.desc(), Batch.id.desc())
    )
