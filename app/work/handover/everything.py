"""Everything of a workshop as documented tables: CSV, JSON and a spreadsheet in one archive, with a README."""

import io
import json
import re
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app import NAME
from app.science.numbers import plain
from app.store.batches import Batch, BatchLine, BatchWeighing
from app.store.formulas import FormulaVersion, VersionLine
from app.store.material_queries import every_packaging
from app.store.materials import Packaging, Price
from app.store.stock import Lot, StockMove, Supplier
from app.work.csv_text import write_table
from app.work.handover.going_out import formulas_out
from app.work.handover.tables import DESCRIBED, TABLES, Tables, write_json, write_workbook

Getter = Callable[[Any], object]
NUMBER = re.compile(r"(-?\d+(\.\d+)?)?")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table of records: what it holds, its rows in order, and each column with what it means and how it is read."""

    words: str
    rows: Callable[[Session], Iterable[Any]]
    columns: Mapping[str, tuple[str, Getter]]


def _versions(session: Session) -> Iterable[FormulaVersion]:
    asked = select(FormulaVersion).options(selectinload(FormulaVersion.formula), selectinload(FormulaVersion.lines))
    return session.scalars(asked.order_by(FormulaVersion.formula_id, FormulaVersion.number))


def _version_lines(session: Session) -> Iterable[tuple[FormulaVersion, VersionLine]]:
    return ((version, line) for version in _versions(session) for line in version.lines)


def _batches(session: Session) -> list[Batch]:
    asked = select(Batch).options(
        selectinload(Batch.version).selectinload(FormulaVersion.formula),
        selectinload(Batch.lines).selectinload(BatchLine.weighings),
        selectinload(Batch.readings),
        selectinload(Batch.deviations),
        selectinload(Batch.ticks),
        selectinload(Batch.history),
    )
    return list(session.scalars(asked.order_by(Batch.id)))


def _of_batches(part: str) -> Callable[[Session], Iterable[tuple[Batch, Any]]]:
    def rows(session: Session) -> Iterable[tuple[Batch, Any]]:
        return ((batch, one) for batch in _batches(session) for one in getattr(batch, part))

    return rows


def _weighings(session: Session) -> Iterable[tuple[Batch, BatchLine, BatchWeighing]]:
    return ((batch, line, one) for batch in _batches(session) for line in batch.lines for one in line.weighings)


def _lots(session: Session) -> Iterable[Lot]:
    return session.scalars(select(Lot).options(selectinload(Lot.moves)).order_by(Lot.id))


def _moves(session: Session) -> Iterable[tuple[Lot, StockMove]]:
    return ((lot, move) for lot in _lots(session) for move in lot.moves)


def _packaging_prices(session: Session) -> Iterable[tuple[Packaging, Price]]:
    return ((piece, price) for piece in every_packaging(session) for price in piece.prices)


def _suppliers(session: Session) -> Iterable[Supplier]:
    return session.scalars(select(Supplier).order_by(Supplier.name))


def _field(words: str, name: str) -> tuple[str, Getter]:
    return words, lambda row: getattr(row, name)


def _second(words: str, name: str) -> tuple[str, Getter]:
    return words, lambda pair: getattr(pair[1], name)


_NUMBER = ("number of the batch", lambda pair: pair[0].number)

SHEETS: Mapping[str, Sheet] = {
    "version_lines": Sheet(
        "The lines of every version, as numbers.",
        _version_lines,
        {
            "formula": ("code of the formula", lambda pair: pair[0].formula.code),
            "version": ("number of the version", lambda pair: pair[0].number),
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
            "packaging": ("name of the packaging", lambda pair: pair[0].name),
            "price": _second("what was paid", "amount"),
            "currency": _second("in this currency, empty for that of the workshop", "currency"),
            "pieces": _second("for so many pieces", "quantity_g"),
            "date": _second("on this day", "priced_on"),
            "kind": _second("paid or offered", "kind"),
            "supplier": _second("by whom it was sold", "supplier"),
            "note": _second("note", "note"),
        },
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
        },
    ),
    "lots": Sheet(
        "Every lot of materials and packaging, and of bulk that a batch made.",
        _lots,
        {
            "code": _field("the workshop's own code of the lot", "code"),
            "of": _field("what is in it", "name"),
            "supplier": ("who it was bought from", lambda lot: lot.supplier.name if lot.supplier else None),
            "supplier_lot": _field("the supplier's number", "supplier_lot"),
            "from_batch": ("the batch that made it", lambda lot: lot.from_batch.number if lot.from_batch else None),
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
            "on_hand": _field("what is left, in its unit", "on_hand"),
            "unit": _field("g, or pieces of packaging", "unit"),
            "composition": _field("its own composition where that differs from the material", "composition"),
            "notes": _field("notes", "notes"),
        },
    ),
    "stock_moves": Sheet(
        "The ledger: everything that came to a lot or left it. A lot's moves add up to what is on hand.",
        _moves,
        {
            "lot": ("code of the lot", lambda pair: pair[0].code),
            "kind": _second("why the amount changed", "kind"),
            "amount": _second("g or pieces, below zero for what left", "amount"),
            "at": _second("when, UTC", "at"),
            "by": _second("who", "by"),
            "why": _second("reason", "why"),
            "batch": ("batch it was weighed for", lambda pair: pair[1].batch.number if pair[1].batch else None),
        },
    ),
    "batches": Sheet(
        "Every batch, planned or made.",
        _batches,
        {
            "number": _field("number of the batch", "number"),
            "formula": ("code of the formula", lambda batch: batch.version.formula.code),
            "version": ("number of the version", lambda batch: batch.version.number),
            "state": _field("where it stands", "state"),
            "size_g": _field("batch size (net), g", "size_g"),
            "size": _field("the size as it was asked for", "size_text"),
            "loss_percent": _field("process loss that was allowed for, %", "loss_percent"),
            "fill_g": _field("fill of a unit, g", "fill_g"),
            "planned_on": _field("day it was planned for", "planned_on"),
            "started_at": _field("when work began, UTC", "started_at"),
            "made_by": _field("who makes it", "made_by"),
            "yield_g": _field("what came out, g", "yield_g"),
            "decided_at": _field("when it was released, rejected or cancelled, UTC", "decided_at"),
            "decided_by": _field("by whom", "decided_by"),
        },
    ),
    "batch_lines": Sheet(
        "What was to be weighed for a batch, and what was.",
        _of_batches("lines"),
        {
            "batch": _NUMBER,
            "position": _second("place in the batch, from 0", "position"),
            "phase": _second("letter of the phase", "phase"),
            "material": _second("name of the material", "name"),
            "percent": _second("% w/w", "percent"),
            "target_g": _second("exact weight, g", "target_g"),
            "shown_g": _second("weight on the sheet, g", "shown_g"),
            "low_g": _second("lower end of its band, g", "low_g"),
            "high_g": _second("upper end of its band, g", "high_g"),
            "actual_g": _second("what went in, g", "actual_g"),
            "lots": _second("lots it came from", "lot_text"),
            "scale": _second("scale it was planned on", "scale"),
            "by": _second("who weighed it", "by"),
        },
    ),
    "weighings": Sheet(
        "Every portion on a scale; a correction is a later row that names the one it replaces.",
        _weighings,
        {
            "batch": ("number of the batch", lambda row: row[0].number),
            "material": ("name of the material", lambda row: row[1].name),
            "id": ("number of the weighing", lambda row: row[2].id),
            "grams": ("what was weighed, g", lambda row: row[2].grams),
            "lot": ("lot as written", lambda row: row[2].lot_text),
            "scale": ("scale", lambda row: row[2].scale),
            "tare_g": ("weight of the vessel, g", lambda row: row[2].tare_g),
            "by": ("who weighed", lambda row: row[2].by),
            "checked_by": ("who looked on", lambda row: row[2].checked_by),
            "at": ("when, UTC", lambda row: row[2].at),
            "replaces": ("number of the weighing it corrects", lambda row: row[2].replaces_id),
            "reason": ("why it was corrected", lambda row: row[2].reason),
        },
    ),
    "readings": Sheet(
        "What was read and seen of a batch.",
        _of_batches("readings"),
        {
            "batch": _NUMBER,
            "what": _second("what was read", "kind"),
            "reading": _second("as written", "words"),
            "value": _second("as a number", "value"),
            "uncertainty": _second("uncertainty of a pH, same unit", "uncertainty"),
            "temperature_c": _second("at this temperature, degrees Celsius", "temperature_c"),
            "at": _second("when, UTC", "taken_at"),
            "by": _second("who", "taken_by"),
        },
    ),
    "steps": Sheet(
        "The start-up checklist and the steps of the method.",
        _of_batches("ticks"),
        {
            "batch": _NUMBER,
            "kind": _second("start-up or step", "kind"),
            "phase": _second("letter of the phase", "phase"),
            "words": _second("what was to be done", "words"),
            "done_at": _second("when it was ticked, UTC", "done_at"),
            "done_by": _second("who ticked it", "done_by"),
            "temperature_c": _second("temperature read, degrees Celsius", "temperature_c"),
            "remark": _second("remark", "remark"),
        },
    ),
    "deviations": Sheet(
        "What was not as planned, and what was decided on it.",
        _of_batches("deviations"),
        {
            "batch": _NUMBER,
            "what": _second("what was found", "what"),
            "found_at": _second("when, UTC", "found_at"),
            "found_by": _second("who found it", "found_by"),
            "cause": _second("cause", "cause"),
            "effect": _second("effect on the product", "effect"),
            "action": _second("what was done", "action"),
            "decided_at": _second("when it was decided, UTC", "decided_at"),
            "decided_by": _second("by whom", "decided_by"),
        },
    ),
    "batch_history": Sheet(
        "What changed in the record of a batch.",
        _of_batches("history"),
        {
            "batch": _NUMBER,
            "at": _second("when, UTC", "at"),
            "by": _second("who", "by"),
            "what": _second("what changed", "what"),
            "old": _second("before", "old"),
            "new": _second("after", "new"),
            "why": _second("reason", "why"),
        },
    ),
}


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


def records_out(session: Session) -> Tables:
    """Return the tables of records: versions as numbers, suppliers, lots, the ledger, batches with their parts."""
    return {
        name: [{column: cell(read(row)) for column, (_, read) in sheet.columns.items()} for row in sheet.rows(session)]
        for name, sheet in SHEETS.items()
    }


def described() -> dict[str, tuple[str, dict[str, str]]]:
    """Return every table with what it holds and what each column means."""
    records = {
        name: (one.words, {key: words for key, (words, _) in one.columns.items()}) for name, one in SHEETS.items()
    }
    return {**DESCRIBED, **records}


def read_me() -> str:
    """Return the text that explains the archive, table by table and column by column."""
    lines = [
        f"Everything of a workshop, written by {NAME}.",
        "",
        "csv/NAME.csv      each table as CSV (RFC 4180, UTF-8 with a mark, comma, heading in the first line)",
        "everything.json   the same tables as one JSON object: a list of rows for each table",
        "everything.xlsx   the same tables as sheets of one workbook; every cell is text",
        "formulas.json     formulas, materials, products and versions, to be taken in again by the program",
        "",
        "Every cell is text. Numbers have a point and no thousands mark, days and moments are ISO 8601, moments in",
        "UTC; yes stands for yes, an empty cell for no, none or not known. A cell that a spreadsheet would take for a",
        "formula has an apostrophe before it in CSV. Rows belong to a formula by its code, to a batch by its number,",
        "to a lot by its code and to a material by its name.",
    ]
    for name, (words, columns) in described().items():
        lines += ["", name, f"  {words}", *(f"    {column}: {meaning}" for column, meaning in columns.items())]
    return "\n".join(lines) + "\n"


def _numeric(columns: Iterable[str], rows: Sequence[Mapping[str, str]]) -> list[str]:
    """Return the columns that hold nothing but numbers: a minus before one is no formula of a spreadsheet."""
    return [column for column in columns if all(NUMBER.fullmatch(row.get(column, "")) for row in rows)]


def everything_out(session: Session) -> bytes:
    """Return the archive of everything."""
    formulas = formulas_out(session, every=True)
    tables: Tables = {**formulas, **records_out(session)}
    columns = {name: tuple(parts) for name, (_, parts) in described().items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", read_me())
        for name, rows in tables.items():
            table = write_table(columns[name], rows, _numeric(columns[name], rows))
            archive.writestr(f"csv/{name}.csv", "\ufeff" + table)
        archive.writestr("everything.json", json.dumps(tables, ensure_ascii=False, indent=1))
        archive.writestr("everything.xlsx", write_workbook(tables, columns))
        archive.writestr("formulas.json", write_json({name: formulas[name] for name in TABLES}))
    return out.getvalue()
