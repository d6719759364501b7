"""The tables of records: versions as numbers, suppliers, lots, the ledger, and batches with all that was recorded.

Each column says what it means, how it is read off a row, and, where it fills a field of the stored row when a file
comes in, which one. What a row belongs to is said by words that mean the same anywhere: a batch by its number, a lot by
its code, a material by its name, a weighing by its place among those of its batch.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.science.numbers import plain
from app.store.base import Base
from app.store.batches import (
    Batch,
    BatchEvent,
    BatchLine,
    BatchReading,
    BatchWeighing,
    Deviation,
    Heating,
    Tick,
)
from app.store.bench_ph import PhSession
from app.store.formulas import FormulaRow, FormulaVersion, VersionLine
from app.store.material_queries import every_packaging
from app.store.materials import MaterialRow, PackagingRow, PriceRow
from app.store.stock import Lot, LotEvent, StockMove, Supplier

Getter = Callable[[Any], object]


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """A column: what it means, how it is read off a row, and the field it fills when it comes in (empty for none)."""

    words: str
    read: Getter
    field: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table of records: what it holds, its rows in order, its columns, and the stored rows that it becomes again."""

    words: str
    rows: Callable[[Session], Iterable[Any]]
    columns: Mapping[str, SheetColumn]
    model: type[Base] | None = None


@dataclass(frozen=True, slots=True)
class OfBatch:
    """A row of a batch with what it takes to name what it refers to: numbers within the batch, names and codes."""

    batch: Batch
    row: Any
    line: BatchLine | None
    numbers: Mapping[tuple[type, int], int]
    shelf: Mapping[int, str]
    lots: Mapping[int, str]


def _versions(session: Session) -> Iterable[FormulaVersion]:
    asked = select(FormulaVersion).options(selectinload(FormulaVersion.formula), selectinload(FormulaVersion.lines))
    return session.scalars(asked.join(FormulaVersion.formula).order_by(FormulaRow.code, FormulaVersion.number))


def _version_lines(session: Session) -> Iterable[tuple[FormulaVersion, VersionLine]]:
    return ((version, line) for version in _versions(session) for line in version.lines)


def _batches(session: Session) -> list[Batch]:
    asked = select(Batch).options(
        selectinload(Batch.version).selectinload(FormulaVersion.formula),
        selectinload(Batch.product),
        selectinload(Batch.lines).selectinload(BatchLine.weighings),
        selectinload(Batch.lines).selectinload(BatchLine.heatings),
        selectinload(Batch.readings),
        selectinload(Batch.deviations),
        selectinload(Batch.ticks),
        selectinload(Batch.history),
    )
    return list(session.scalars(asked.order_by(Batch.id)))


def _of_batches(part: str) -> Callable[[Session], Iterable[OfBatch]]:
    """Yield the rows of one kind of every batch; those of a line in the order in which they were written."""

    def rows(session: Session) -> Iterable[OfBatch]:
        shelf = {key: name for key, name in session.execute(select(MaterialRow.id, MaterialRow.name))}  # noqa: C416
        lots = {key: code for key, code in session.execute(select(Lot.id, Lot.code))}  # noqa: C416
        sessions: dict[int, list[PhSession]] = {}
        for one in session.scalars(select(PhSession).order_by(PhSession.id)):
            sessions.setdefault(one.batch_id, []).append(one)
        for batch in _batches(session):
            parts: dict[str, list[tuple[BatchLine | None, Any]]] = {
                "sessions": [(None, one) for one in sessions.get(batch.id, ())],
                "weighings": [(line, one) for line in batch.lines for one in line.weighings],
                "heatings": [(line, one) for line in batch.lines for one in line.heatings],
            }
            for found in parts.values():
                found.sort(key=lambda pair: pair[1].id)
            numbers = {
                (type(one), one.id): place for found in parts.values() for place, (_, one) in enumerate(found, start=1)
            }
            for line, one in parts.get(part) or [(None, one) for one in getattr(batch, part, ())]:
                yield OfBatch(batch, one, line, numbers, shelf, lots)

    return rows


def _lots(session: Session) -> Iterable[Lot]:
    return session.scalars(select(Lot).options(selectinload(Lot.moves), selectinload(Lot.history)).order_by(Lot.id))


def _moves(session: Session) -> Iterable[tuple[Lot, StockMove, Mapping[int, int]]]:
    places = {key: place for key, place in session.execute(select(BatchLine.id, BatchLine.position))}  # noqa: C416
    return ((lot, move, places) for lot in _lots(session) for move in lot.moves)


def _lot_history(session: Session) -> Iterable[tuple[Lot, LotEvent]]:
    return ((lot, event) for lot in _lots(session) for event in lot.history)


def _packaging_prices(session: Session) -> Iterable[tuple[PackagingRow, PriceRow]]:
    return ((piece, price) for piece in every_packaging(session) for price in piece.prices)


def _suppliers(session: Session) -> Iterable[Supplier]:
    return session.scalars(select(Supplier).order_by(Supplier.name))


def _field(words: str, name: str) -> SheetColumn:
    return SheetColumn(words, lambda row: getattr(row, name), name)


def _second(words: str, name: str) -> SheetColumn:
    return SheetColumn(words, lambda pair: getattr(pair[1], name), name)


def _own(words: str, name: str) -> SheetColumn:
    """Return the column of a field of a row of a batch."""
    return SheetColumn(words, lambda of: getattr(of.row, name), name)


def _number_of(words: str, kind: type, name: str) -> SheetColumn:
    """Return the column that names another row of the same batch by its number there."""
    return SheetColumn(words, lambda of: of.numbers.get((kind, getattr(of.row, name))))


def _of(lot: Lot) -> str:
    return "packaging" if lot.packaging_id else "material" if lot.material_id else "bulk"


def without_ids(pinned: str) -> str:
    """Return pinned materials without the ids of this workshop, which mean nothing elsewhere."""
    rows = json.loads(pinned or "[]")
    return json.dumps([{**row, "id": 0} for row in rows], ensure_ascii=False, separators=(",", ":")) if rows else ""


_NUMBER = SheetColumn("number of the batch", lambda of: of.batch.number)
_LINE = SheetColumn("place of its line in the batch, from 0", lambda of: of.line.position)
_HISTORY = {
    "at": ("when, UTC", "at"),
    "by": ("who", "by"),
    "what": ("what changed", "what"),
    "old": ("before", "old"),
    "new": ("after", "new"),
    "why": ("reason", "why"),
}

SHEETS: Mapping[str, Sheet] = {
    "version_lines": Sheet(
        "The lines of every version, as numbers; told by the versions themselves when they come in.",
        _version_lines,
        {
            "formula": SheetColumn("code of the formula", lambda pair: pair[0].formula.code),
            "version": SheetColumn("number of the version", lambda pair: pair[0].number),
            "phase": _second("letter of the phase", "phase"),
            "material": _second("name of the material", "name"),
            "percent": _second("% w/w of the finished formula", "percent"),
            "to_100": _second("yes for the line that fills up to 100", "qs"),
            "temperature_c": _second("temperature of the phase, degrees Celsius", "temperature_c"),
        },
    ),
    "packaging_prices": Sheet(
        "What was paid, or offered, for packaging.",
        _packaging_prices,
        {
            "packaging": SheetColumn("name of the packaging", lambda pair: pair[0].name),
            "price": _second("what was paid", "amount"),
            "currency": _second("in this currency, empty for that of the workshop", "currency"),
            "pieces": _second("for so many pieces", "quantity_g"),
            "amount": _second("the same as it was written", "quantity_text"),
            "date": _second("on this day", "priced_on"),
            "kind": _second("paid or offered", "kind"),
            "supplier": _second("by whom it was sold", "supplier"),
            "note": _second("note", "note"),
        },
        PriceRow,
    ),
    "suppliers": Sheet(
        "Who materials and packaging are bought from.",
        _suppliers,
        {
            "name": _field("name", "name"),
            "contact": _field("telephone, mail and the like", "contact"),
            "address": _field("address", "address"),
            "delivery_days": _field("usual days of delivery", "delivery_days"),
            "notes": _field("notes", "notes"),
            "retired_at": _field("when it was taken out of the choices, UTC", "retired_at"),
        },
        Supplier,
    ),
    "lots": Sheet(
        "Every lot of materials and packaging, and of bulk that a batch made.",
        _lots,
        {
            "code": _field("the workshop's own code of the lot", "code"),
            "kind": SheetColumn("material, packaging, or bulk of a batch", _of),
            "of": SheetColumn("what is in it", lambda lot: lot.name),
            "supplier": SheetColumn("who it was bought from", lambda lot: lot.supplier.name if lot.supplier else None),
            "supplier_lot": _field("the supplier's number", "supplier_lot"),
            "from_batch": SheetColumn(
                "the batch that made it", lambda lot: lot.from_batch.number if lot.from_batch else None
            ),
            "received_on": _field("day it came, ISO 8601", "received_on"),
            "amount": _field("amount as it was written", "amount_text"),
            "paid": _field("what was paid for it", "paid"),
            "currency": _field("in this currency, ISO 4217", "currency"),
            "opened_on": _field("day it was opened", "opened_on"),
            "expires_on": _field("last day it may be used", "expires_on"),
            "retest_on": _field("day it is to be tested again", "retest_on"),
            "place": _field("where it stands", "place"),
            "state": _field("quarantine, accepted or refused", "state"),
            "decided_by": _field("who accepted or refused it", "decided_by"),
            "decided_at": _field("when, UTC", "decided_at"),
            "decided_why": _field("why", "decided_why"),
            "on_hand": SheetColumn("what is left, in its unit", lambda lot: lot.on_hand),
            "unit": SheetColumn("g, or pieces of packaging", lambda lot: lot.unit),
            "composition": _field("its own composition where that differs from the material", "composition"),
            "notes": _field("notes", "notes"),
            "created_at": _field("when it was written down, UTC", "created_at"),
        },
        Lot,
    ),
    "stock_moves": Sheet(
        "The ledger: everything that came to a lot or left it. A lot's moves add up to what is on hand.",
        _moves,
        {
            "lot": SheetColumn("code of the lot", lambda row: row[0].code),
            "kind": _second("why the amount changed", "kind"),
            "amount": _second("g or pieces, below zero for what left", "amount"),
            "at": _second("when, UTC", "at"),
            "by": _second("who", "by"),
            "why": _second("reason", "why"),
            "batch": SheetColumn("batch it belongs to", lambda row: row[1].batch.number if row[1].batch else None),
            "line": SheetColumn(
                "place of the line in that batch, from 0", lambda row: row[2].get(row[1].batch_line_id)
            ),
        },
        StockMove,
    ),
    "lot_history": Sheet(
        "What changed in the particulars of a lot.",
        _lot_history,
        {
            "lot": SheetColumn("code of the lot", lambda row: row[0].code),
            **{name: _second(*about) for name, about in _HISTORY.items()},
        },
        LotEvent,
    ),
    "batches": Sheet(
        "Every batch, planned or made.",
        _batches,
        {
            "number": _field("number of the batch", "number"),
            "formula": SheetColumn("code of the formula", lambda batch: batch.version.formula.code),
            "version": SheetColumn("number of the version", lambda batch: batch.version.number),
            "product": SheetColumn(
                "name of the product it is made for", lambda batch: batch.product.name if batch.product else None
            ),
            "state": SheetColumn("where it stands", lambda batch: batch.state),
            "size_g": _field("batch size (net), g", "size_g"),
            "size": _field("the size as it was asked for", "size_text"),
            "loss_percent": _field("process loss that was allowed for, %", "loss_percent"),
            "fill_g": _field("fill of a unit, g", "fill_g"),
            "planned_on": _field("day it was planned for", "planned_on"),
            "created_at": _field("when it was planned, UTC", "created_at"),
            "started_at": _field("when work began, UTC", "started_at"),
            "made_by": _field("who makes it", "made_by"),
            "yield_g": _field("yield, g", "yield_g"),
            "yield_low_percent": _field("usual yield from, % of what was weighed in", "yield_low_percent"),
            "yield_high_percent": _field("usual yield to, %", "yield_high_percent"),
            "as_made": _field("what it became, as it was kept when it was decided, JSON", "as_made"),
            "decided_at": SheetColumn(
                "when it was released, rejected or cancelled, UTC", lambda batch: batch.decided_at
            ),
            "decided_by": _field("by whom", "decided_by"),
        },
        Batch,
    ),
    "batch_lines": Sheet(
        "What was to be weighed for a batch, and what was.",
        _of_batches("lines"),
        {
            "batch": _NUMBER,
            "position": _own("place in the batch, from 0", "position"),
            "phase": _own("letter of the phase", "phase"),
            "material": _own("name of the material then", "name"),
            "on_shelf": SheetColumn("its name on the shelf", lambda of: of.shelf[of.row.material_id]),
            "percent": _own("% w/w", "percent"),
            "target_g": _own("exact weight, g", "target_g"),
            "shown_g": _own("weight on the sheet, g", "shown_g"),
            "low_g": _own("lower end of its band, g", "low_g"),
            "high_g": _own("upper end of its band, g", "high_g"),
            "actual_g": SheetColumn("what went in, g", lambda of: of.row.actual_g),
            "lots": SheetColumn("lots it came from", lambda of: of.row.lot_text),
            "scale": _own("scale it was planned on", "scale"),
            "step_g": _own("smallest step of that scale, g", "step_g"),
            "advice": _own("advice where that scale could not show the weight", "advice"),
            "by": SheetColumn("who weighed it", lambda of: of.row.by),
            "line_key": _own("the line of the version it is", "line_key"),
            "added_at_bench": _own("yes where it was added at the bench", "added_at_bench"),
            "pinned": SheetColumn("the material as it was then, JSON", lambda of: without_ids(of.row.material)),
            "planned": _own("the material of the version that it stands for", "planned_name"),
            "planned_on_shelf": SheetColumn(
                "the name of that one on the shelf", lambda of: of.shelf.get(of.row.planned_material_id)
            ),
        },
        BatchLine,
    ),
    "ph_sessions": Sheet(
        "Guided sessions at the pH meter.",
        _of_batches("sessions"),
        {
            "batch": _NUMBER,
            "number": _number_of("number of the session within the batch", PhSession, "id"),
            "material": SheetColumn("name of the solution on the shelf", lambda of: of.shelf[of.row.material_id]),
            "target_ph": _own("pH that was wanted", "target_ph"),
            "batch_g": _own("weight of the batch then, g", "batch_g"),
            "started_at": _own("when it began, UTC", "started_at"),
            "started_by": _own("who began it", "started_by"),
            "finished_at": _own("when it ended, UTC", "finished_at"),
            "pinned": SheetColumn("the solutions as they were then, JSON", lambda of: without_ids(of.row.materials)),
        },
        PhSession,
    ),
    "heatings": Sheet(
        "Vessels weighed before and after heating; a correction is a later row that names the one it replaces.",
        _of_batches("heatings"),
        {
            "batch": _NUMBER,
            "line": _LINE,
            "number": _number_of("number of the heating within the batch", Heating, "id"),
            "phase": _own("letter of the phase", "phase"),
            "vessel": _own("vessel", "vessel"),
            "scale": _own("scale", "scale"),
            "before_g": _own("weight before, g", "before_g"),
            "before_by": _own("who weighed it before", "before_by"),
            "before_at": _own("when, UTC", "before_at"),
            "after_g": _own("weight after, g", "after_g"),
            "after_by": _own("who weighed it after", "after_by"),
            "after_at": _own("when, UTC", "after_at"),
            "replaces": _number_of("number of the heating it corrects", Heating, "replaces_id"),
            "reason": _own("why it was corrected", "reason"),
        },
        Heating,
    ),
    "weighings": Sheet(
        "Every portion on a scale; a correction is a later row that names the one it replaces.",
        _of_batches("weighings"),
        {
            "batch": _NUMBER,
            "line": _LINE,
            "material": SheetColumn("name of the material", lambda of: of.line.name),
            "number": _number_of("number of the weighing within the batch", BatchWeighing, "id"),
            "grams": _own("what was weighed, g", "grams"),
            "lot": _own("lot as written", "lot_text"),
            "from_lot": SheetColumn("code of the lot it came from", lambda of: of.lots.get(of.row.lot_id)),
            "scale": _own("scale", "scale"),
            "vessel": _own("vessel", "vessel"),
            "tare_g": _own("weight of the vessel, g", "tare_g"),
            "by": _own("who weighed", "by"),
            "checked_by": _own("who looked on", "checked_by"),
            "at": _own("when, UTC", "at"),
            "replaces": _number_of("number of the weighing it corrects", BatchWeighing, "replaces_id"),
            "reason": _own("why it was corrected", "reason"),
            "session": _number_of("number of the pH session it was added in", PhSession, "session_id"),
            "place": _own("place in that session", "place"),
            "drops": _own("drops that were counted", "drops"),
            "advised_g": _own("what had been advised, g", "advised_g"),
            "heating": _number_of("number of the heating whose water it puts back", Heating, "heating_id"),
        },
        BatchWeighing,
    ),
    "readings": Sheet(
        "What was read and seen of a batch.",
        _of_batches("readings"),
        {
            "batch": _NUMBER,
            "what": _own("what was read", "kind"),
            "reading": _own("as written", "words"),
            "value": _own("as a number", "value"),
            "uncertainty": _own("uncertainty of a pH, same unit", "uncertainty"),
            "temperature_c": _own("at this temperature, degrees Celsius", "temperature_c"),
            "at": _own("when, UTC", "taken_at"),
            "by": _own("who", "taken_by"),
            "session": _number_of("number of the pH session it belongs to", PhSession, "session_id"),
            "place": _own("place in that session", "place"),
        },
        BatchReading,
    ),
    "steps": Sheet(
        "The start-up checklist and the steps of the method.",
        _of_batches("ticks"),
        {
            "batch": _NUMBER,
            "kind": _own("start-up or step", "kind"),
            "position": _own("place in its list", "position"),
            "phase": _own("letter of the phase", "phase"),
            "words": _own("what was to be done", "words"),
            "done_at": _own("when it was ticked, UTC", "done_at"),
            "done_by": _own("who ticked it", "done_by"),
            "temperature_c": _own("temperature read, degrees Celsius", "temperature_c"),
            "remark": _own("remark", "remark"),
        },
        Tick,
    ),
    "deviations": Sheet(
        "What was not as planned, and what was decided on it.",
        _of_batches("deviations"),
        {
            "batch": _NUMBER,
            "what": _own("what was found", "what"),
            "key": _own("what of the record it answers; empty for one that a person noted", "key"),
            "found_at": _own("when, UTC", "found_at"),
            "found_by": _own("who found it", "found_by"),
            "cause": _own("cause", "cause"),
            "effect": _own("effect on the product", "effect"),
            "action": _own("what was done", "action"),
            "decided_at": _own("when it was decided, UTC", "decided_at"),
            "decided_by": _own("by whom", "decided_by"),
        },
        Deviation,
    ),
    "batch_history": Sheet(
        "What changed in the record of a batch.",
        _of_batches("history"),
        {"batch": _NUMBER, **{name: _own(*about) for name, about in _HISTORY.items()}},
        BatchEvent,
    ),
}
NOT_CARRIED = (
    "pictures and the files of documents, recipe notes, receivers, recalls and complaints, scales, vessels and their "
    "checks, people, answers to findings, corrected values, drop weights, and the settings of the workshop"
)


def cell(value: object) -> str:
    """Return a value as the text of a cell: decimals plain, days and moments as ISO 8601 in UTC, yes or nothing."""
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    if isinstance(value, Decimal):
        return plain(value)
    if isinstance(value, Enum):
        return str(value.value)
    return value.isoformat() if isinstance(value, datetime | date) else str(value)


def row_of(name: str, row: Any) -> dict[str, str]:
    """Return a row of a table as its cells."""
    return {key: cell(column.read(row)) for key, column in SHEETS[name].columns.items()}


def records_out(session: Session) -> dict[str, list[dict[str, str]]]:
    """Return the tables of records: versions as numbers, suppliers, lots, the ledger, batches with their parts."""
    return {name: [row_of(name, row) for row in sheet.rows(session)] for name, sheet in SHEETS.items()}
