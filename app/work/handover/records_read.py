"""Records read: the cells of suppliers, lots and batches of a file as values, and everything that is wrong in them."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from sqlalchemy import inspect

from app.science.formula import Material
from app.science.names import inci_key
from app.science.plain_data import from_plain, to_plain
from app.store.base import Base
from app.store.batches import Batch, BatchState, BatchWeighing, Heating
from app.store.bench_ph import PhSession
from app.store.cells import NUMBER, WHOLE, read_cell
from app.work.csv_text import LineFault
from app.work.handover.records import SHEETS

Row = Mapping[str, str]
Rows = Mapping[str, Sequence[Row]]
LONGEST_CODE = 60
# The parts of a batch, in the order in which they can be written: what a row refers to comes before it.
PARTS = (
    "batch_lines", "ph_sessions", "heatings", "weighings", "readings", "steps", "deviations", "batch_history",
)  # fmt: skip
NUMBERED: Mapping[str, type[Base]] = {"ph_sessions": PhSession, "heatings": Heating, "weighings": BatchWeighing}
# The columns by which rows of a batch name each other, with the field that they fill and the table they mean.
LINKS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "heatings": {"replaces": ("replaces_id", "heatings")},
    "weighings": {
        "replaces": ("replaces_id", "weighings"),
        "session": ("session_id", "ph_sessions"),
        "heating": ("heating_id", "heatings"),
    },
    "readings": {"session": ("session_id", "ph_sessions")},
}


def values_of(name: str, row: Row) -> dict[str, Any]:
    """Return the fields of the stored row that a row of a table fills.

    Raises:
        ValueError: naming the column and what is wrong in it.
    """
    columns = inspect(SHEETS[name].model).columns
    found: dict[str, Any] = {}
    for key, column in SHEETS[name].columns.items():
        if column.field:
            try:
                found[column.field] = read_cell(columns[column.field], row[key])
            except ValueError as error:
                raise ValueError(f"{key} {error}") from error
    return found


def record_faults(tables: Rows) -> list[LineFault]:
    """Return what keeps the records of a file from being read: cells, doubles, and rows that belong to nothing."""
    faults = [
        LineFault(number, f"In the table {name}: {error}.")
        for name, sheet in SHEETS.items()
        if sheet.model is not None
        for number, row in enumerate(tables[name], start=1)
        for error in _errors(name, row)
    ]
    if faults:
        return faults
    return [
        LineFault(0, words)
        for words in (*_doubles(tables), *_strays(tables), *_broken_links(tables), *_ledger_faults(tables))
    ]


def _errors(name: str, row: Row) -> Iterable[str]:
    try:
        values_of(name, row)
        if name in NUMBERED and not WHOLE.fullmatch(row["number"]):
            yield "number is no number"
        if name == "batches":
            BatchState(row["state"])
            read_cell(inspect(Batch).columns["decided_at"], row["decided_at"])
        with_ids_of(row.get("pinned", ""), {})
    except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError, RecursionError) as error:
        yield str(error)[:200]


def _doubles(tables: Rows) -> Iterable[str]:
    keys = {
        "suppliers": ("name",),
        "lots": ("code",),
        "batches": ("number",),
        "batch_lines": ("batch", "position"),
        **dict.fromkeys(NUMBERED, ("batch", "number")),
    }
    for name, columns in keys.items():
        counted = Counter(tuple(row[column] for column in columns) for row in tables[name])
        for key, times in counted.items():
            if times > 1 or not key[0].strip() or len(key[0]) > LONGEST_CODE:
                why = "stands twice" if times > 1 else f"has to have 1 to {LONGEST_CODE} characters"
                yield f"In the table {name}: {' '.join(key)[:40]!r} {why}."


def _strays(tables: Rows) -> Iterable[str]:
    """Say which rows belong to a batch, lot or line that is not in the file."""
    batches, lots = {row["number"] for row in tables["batches"]}, {row["code"] for row in tables["lots"]}
    lines = {(row["batch"], row["position"]) for row in tables["batch_lines"]}
    for name in PARTS:
        for row in tables[name]:
            if row["batch"] not in batches or ("line" in row and (row["batch"], row["line"]) not in lines):
                yield f"In the table {name}: there is no batch {row['batch'][:40]!r} with such a line in the file."
    for name, column in (("stock_moves", "lot"), ("lot_history", "lot"), ("weighings", "from_lot")):
        for code in sorted({row[column] for row in tables[name]} - lots - ({""} if column == "from_lot" else set())):
            yield f"In the table {name}: there is no lot {code[:40]!r} in the file."


def _broken_links(tables: Rows) -> Iterable[str]:
    """Say which rows of a batch name a row of it that is not there, or correct one that is not an earlier one."""
    numbers = {(name, row["batch"], row["number"]) for name in NUMBERED for row in tables[name]}
    for name, links in LINKS.items():
        for row in tables[name]:
            for column, (_, target) in links.items():
                meant = row[column]
                late = column == "replaces" and meant.isdecimal() and int(meant) >= int(row["number"])
                if meant and (late or (target, row["batch"], meant) not in numbers):
                    where = f"In the table {name}, batch {row['batch'][:40]}"
                    yield f"{where}: {column} {meant[:20]!r} is no earlier row of it."


def _ledger_faults(tables: Rows) -> Iterable[str]:
    """Say of which lots the moves do not add up to what is on hand, or fall below nothing on the way."""
    held: dict[str, Decimal] = {}
    low: dict[str, Decimal] = {}
    for row in tables["stock_moves"]:
        held[row["lot"]] = held.get(row["lot"], Decimal(0)) + Decimal(row["amount"])
        low[row["lot"]] = min(low.get(row["lot"], Decimal(0)), held[row["lot"]])
    for row in tables["lots"]:
        code, stated = row["code"], row["on_hand"] or "0"
        if not NUMBER.fullmatch(stated) or Decimal(stated) < 0 or low.get(code, 0) < 0:
            yield f"Lot {code}: what is on hand is no amount, or falls below nothing on the way."
        elif code in held and held[code] != Decimal(stated):
            yield f"Lot {code}: the moves add up to {held[code]:f}, and {stated} is on hand."


def with_ids_of(pinned: str, ids: Mapping[str, int]) -> str:
    """Return pinned materials with the ids that belong to their names here, 0 without one."""
    rows = [from_plain(Material, row) for row in json.loads(pinned or "[]")]
    known = [to_plain(replace(row, id=ids.get(inci_key(row.name), 0))) for row in rows]
    return json.dumps(known, ensure_ascii=False, separators=(",", ":")) if known else ""
