"""The tables of a hand-over file, all text, as JSON, as a spreadsheet of sheets, and as one CSV.

``formulas`` holds a row a formula, ``phases`` and ``lines`` theirs in order, ``products`` and ``packaging`` what is
sold, ``materials`` the shelf materials that the lines name (columns of the materials file). Rows belong to a formula by
its code, lines to a phase by its letter. Numbers stand as they were typed.
"""

import io
import json
import zipfile
from collections.abc import Iterable, Mapping
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import InvalidFileException

from app.work.csv_text import LineFault, Unreadable, decode, write_table
from app.work.csv_text import read_table as read_csv_table
from app.work.materials.transfer import COLUMNS as MATERIAL_COLUMNS
from app.work.products.product_form import ProductForm

Row = Mapping[str, str]
Tables = dict[str, list[dict[str, str]]]

KIND, SCHEMA = "formulas", 1
HEAD = (
    "name", "product_type", "exposure", "special_uses", "basis", "density", "batch", "fill", "loss_percent",
    "target_ph", "labour_minutes", "notes",
)  # fmt: skip
PRODUCT_FIELDS = tuple(name for name in ProductForm.fields if name != "packaging")
TABLES: Mapping[str, tuple[str, ...]] = {
    "formulas": ("code", *HEAD),
    "phases": ("formula", "phase", "name", "temperature", "method"),
    "lines": ("formula", "phase", "material", "amount", "to_100", "note"),
    "products": ("formula", *PRODUCT_FIELDS, "packaging"),
    "packaging": ("name", "units_per_pack", "price", "supplier", "notes"),
    "materials": MATERIAL_COLUMNS,
}
LARGEST = 20_000_000
MOST_ROWS = 50_000
FORMATS = {"json": "JSON", "xlsx": "spreadsheet (xlsx)", "csv": "CSV"}


def empty_tables() -> Tables:
    """Return the tables without rows."""
    return {name: [] for name in TABLES}


def write_json(tables: Tables) -> bytes:
    """Return the tables as one JSON text."""
    return json.dumps({"kind": KIND, "schema": SCHEMA, **tables}, ensure_ascii=False, indent=1).encode("utf-8")


def write_xlsx(tables: Tables) -> bytes:
    """Return the tables as a workbook with a sheet each; every cell is text, so that nothing is taken for a formula."""
    book = Workbook(write_only=True)
    for name, columns in TABLES.items():
        sheet = book.create_sheet(name)
        sheet.append(list(columns))
        for row in tables[name]:
            sheet.append([_text_cell(sheet, row.get(column, "")) for column in columns])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _text_cell(sheet: Any, text: str) -> Any:
    cell = WriteOnlyCell(sheet, value=text or None)
    if text:
        cell.data_type = "s"
        cell.number_format = "@"
    return cell


def write_csv(tables: Tables) -> bytes:
    """Return the tables as one CSV (RFC 4180, UTF-8 with a mark); its first column names the table of each row."""
    columns = _csv_columns()
    rows = ({"table": name, **row} for name in TABLES for row in tables[name])
    return ("\ufeff" + write_table(columns, rows)).encode("utf-8")


def _csv_columns() -> tuple[str, ...]:
    return ("table", *dict.fromkeys(column for columns in TABLES.values() for column in columns))


WRITERS = {"json": write_json, "xlsx": write_xlsx, "csv": write_csv}


def read_tables(data: bytes) -> Tables:
    """Return the tables of a file, whichever of the three it is.

    Raises:
        Unreadable: with what is wrong.
    """
    if not data.strip():
        raise _fault("The file is empty.")
    if len(data) > LARGEST:
        raise _fault(f"The file is larger than {LARGEST // 1_000_000} MB.")
    if data.startswith(b"PK"):
        return _checked(_read_xlsx(data))
    text = decode(data)
    return _checked(_read_json(text) if text.lstrip().startswith(("{", "[")) else _read_csv(text))


def _fault(message: str) -> Unreadable:
    return Unreadable([LineFault(0, message)])


def _read_json(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text, object_pairs_hook=_without_doubles)
    except (ValueError, RecursionError) as error:
        raise _fault(f"This JSON cannot be read: {str(error)[:120]}.") from error
    if not isinstance(found, dict) or found.get("kind") != KIND:
        raise _fault("This is not a file of formulas.")
    if found.get("schema") != SCHEMA:
        raise _fault("This file comes from a later version; ask for one in an older form.")
    return found


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice in one place")
    return found


def _read_xlsx(data: bytes) -> dict[str, Any]:
    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        sheets = {sheet.title: list(_sheet_rows(sheet)) for sheet in book.worksheets if sheet.title in TABLES}
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError) as error:
        raise _fault("This spreadsheet cannot be read; save it again as xlsx.") from error
    if not sheets:
        raise _fault("None of the sheets is called formulas, phases or lines.")
    return sheets


def _sheet_rows(sheet: Any) -> Iterable[dict[str, str]]:
    rows = sheet.iter_rows(values_only=True)
    heading = [_as_text(cell) for cell in next(rows, ())]
    for number, row in enumerate(rows):
        if number > MOST_ROWS:
            raise ValueError("too many rows")
        cells = {name: _as_text(cell) for name, cell in zip(heading, row, strict=False) if name}
        if any(cells.values()):
            yield cells


def _as_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell == int(cell):
        return str(int(cell))
    return str(cell)


def _read_csv(text: str) -> dict[str, Any]:
    columns = _csv_columns()
    found: dict[str, Any] = {}
    for record in read_csv_table(text, ("table",), columns):
        name = record.cells["table"].strip()
        if name not in TABLES:
            raise Unreadable([LineFault(record.line, f"There is no table called {name[:40]}.")])
        found.setdefault(name, []).append({key: record.cells.get(key, "") for key in TABLES[name]})
    return found


def _checked(found: Mapping[str, Any]) -> Tables:
    """Return the known tables with rows of texts; refuse anything else, naming where it stands."""
    tables = empty_tables()
    for name, columns in TABLES.items():
        rows = found.get(name, [])
        if not isinstance(rows, list) or len(rows) > MOST_ROWS:
            raise _fault(f"The table {name} is no list of rows.")
        for number, row in enumerate(rows, start=1):
            if not isinstance(row, dict) or not all(isinstance(value, str) for value in row.values()):
                raise Unreadable([LineFault(number, f"In the table {name}: every cell has to be a text.")])
            if any("\x00" in value for value in row.values()):
                raise Unreadable([LineFault(number, f"In the table {name}: a cell holds a sign that no text has.")])
            tables[name].append({column: row.get(column, "") for column in columns})
    return tables
