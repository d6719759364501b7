"""The tables of a hand-over file, all text, as JSON, as a spreadsheet of sheets, and as one CSV.

``formulas`` holds a row a formula, ``phases`` and ``lines`` theirs in order, ``versions`` those kept of it,
``products`` and ``packaging`` what is sold, ``materials`` the shelf materials that are named (columns of the materials
file) and ``prices`` what was paid for them. Rows belong to a formula by its code, lines to a phase by its letter.
Numbers stand as they were typed. A file of everything has the tables of records besides (``records.SHEETS``).
"""

import io
import json
import re
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import InvalidFileException

from app.work.csv_text import LineFault, Unreadable, decode, write_table
from app.work.csv_text import read_table as read_csv_table
from app.work.equipment import PackagingForm
from app.work.form import Form
from app.work.formulas.draft import Draft
from app.work.formulas.fields import HEAD_WORDS as FIELD_WORDS
from app.work.handover.records import SHEETS
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm
from app.work.materials.transfer import COLUMNS as MATERIAL_COLUMNS
from app.work.materials.transfer_prices import COLUMNS as PRICE_COLUMNS
from app.work.products.product_form import ProductForm

Row = Mapping[str, str]
Tables = dict[str, list[dict[str, str]]]

KIND, SCHEMA = "formulas", 1
# Every field of a draft but those that have a table or a column of their own: a new one goes out and in by its name.
HEAD = tuple(field.name for field in fields(Draft) if field.name not in ("code", "phases", "lines"))
PRODUCT_FIELDS = tuple(name for name in ProductForm.fields if name != "packaging")
VERSION_FIELDS = (
    "number", "name", "exposure", "note", "kept_at", "kept_by", "content", "value", "declared", "filled_at", "on_shelf",
)  # fmt: skip
TABLES: Mapping[str, tuple[str, ...]] = {
    "formulas": ("code", *HEAD, "retired"),
    "phases": ("formula", "phase", "name", "temperature", "method"),
    "lines": ("formula", "phase", "material", "amount", "to_100", "note"),
    "products": ("formula", *PRODUCT_FIELDS, "packaging", "retired"),
    "packaging": (*PackagingForm.fields, "retired"),
    "materials": MATERIAL_COLUMNS,
    "prices": PRICE_COLUMNS,
    "versions": ("formula", *VERSION_FIELDS),
}
RECORDS = {name: tuple(sheet.columns) for name, sheet in SHEETS.items()}
LAYOUT: Mapping[str, tuple[str, ...]] = {**TABLES, **RECORDS}
ARCHIVED = "everything.json"
_FORMULA = "code of the formula"


def _labels(*forms: type[Form]) -> dict[str, str]:
    """Return the words of the fields of some forms, by their columns in a file."""
    return {column: field.label for form in forms for column, field in form.csv_columns().items()}


# What each table holds, and what each of its columns means.
DESCRIBED: Mapping[str, tuple[str, dict[str, str]]] = {
    "formulas": (
        "Every formula as it is typed now.",
        {
            "code": _FORMULA,
            **{name: FIELD_WORDS.get(name, name.replace("_", " ")) for name in HEAD},
            "retired": "yes or nothing",
        },
    ),
    "phases": (
        "The phases of every formula, in order.",
        {
            "formula": _FORMULA,
            "phase": "letter of the phase",
            "name": "name of the phase",
            "temperature": "temperature, degrees Celsius",
            "method": "what is done, a step a line",
        },
    ),
    "lines": (
        "The lines of every formula, in order.",
        {
            "formula": _FORMULA,
            "phase": "letter of the phase",
            "material": "name of the material as typed",
            "amount": "amount as typed, in the basis of the formula",
            "to_100": "yes for the line that fills up to 100",
            "note": "note at the line",
        },
    ),
    "products": (
        "What is sold of each formula.",
        {
            "formula": _FORMULA,
            **{name: ProductForm.fields[name].label for name in PRODUCT_FIELDS},
            "packaging": "pieces for a unit and names, separated by semicolons",
            "retired": "yes or nothing",
        },
    ),
    "packaging": (
        "Packaging.",
        {**{name: field.label for name, field in PackagingForm.fields.items()}, "retired": "yes or nothing"},
    ),
    "materials": (
        "The materials, a row for each substance in them; what belongs to the whole stands in the first.",
        {
            **{column: column.replace("_", " ") for column in MATERIAL_COLUMNS},
            **_labels(MaterialForm, PartForm),
            "retired": "yes or nothing",
            "part": "place of the substance in the material",
            "low": "lower end of the supplier's range, %",
            "high": "upper end of the supplier's range, %",
        },
    ),
    "prices": (
        "What was paid, or offered, for materials.",
        {
            **{column: column for column in PRICE_COLUMNS},
            **_labels(PriceForm),
            "material": "name of the material",
            "grams": "the amount in grams",
            "currency": "currency of the workshop, ISO 4217",
            "price per kg": "price of 1 kg",
        },
    ),
    "versions": (
        "Every version that was kept of a formula; kept as it is.",
        {
            "formula": _FORMULA,
            "number": "number of the version",
            "name": "name of the formula then",
            "exposure": "leave-on or rinse-off",
            "note": "note to the version",
            "kept_at": "when it was kept, ISO 8601 in UTC",
            "kept_by": "by whom",
            "content": "the draft as typed, JSON",
            "value": "the formula as numbers, with its materials as they were, JSON",
            "declared": "its ingredient lists under each law, JSON",
            "filled_at": "when its numbers were filled in, where they were not kept with it, ISO 8601 in UTC",
            "on_shelf": "materials that have another name on the shelf by now, JSON",
        },
    ),
    **{name: (one.words, {key: column.words for key, column in one.columns.items()}) for name, one in SHEETS.items()},
}
# What a file that is no whole spreadsheet raises on the way.
BROKEN = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, KeyError, ValueError, OSError, TypeError, SyntaxError,
    EOFError, AttributeError, IndexError,
)  # fmt: skip
LARGEST = 20_000_000
MOST_IN_CELL = 32_000  # a cell of a spreadsheet holds 32 767 signs
_GOES_ON = re.compile(r"#\d+$")
MOST_ROWS = 50_000
FORMATS = {"json": "JSON", "xlsx": "spreadsheet (xlsx)", "csv": "CSV"}


def empty_tables(layout: Iterable[str] = TABLES) -> Tables:
    """Return tables without rows, those of formulas unless others are named."""
    return {name: [] for name in layout}


def write_json(tables: Tables) -> bytes:
    """Return the tables as one JSON text."""
    return json.dumps({"kind": KIND, "schema": SCHEMA, **tables}, ensure_ascii=False, indent=1).encode("utf-8")


def write_xlsx(tables: Tables) -> bytes:
    """Return the tables as a workbook, each a sheet; every cell is text, so that nothing is taken for a formula.

    A text too long for a cell goes on in columns ``name#2``, ``name#3`` and so on.
    """
    book = Workbook(write_only=True)
    for name, rows in tables.items():
        sheet, columns = book.create_sheet(name), LAYOUT[name]
        parts = {
            one: max((-(-len(row.get(one, "")) // MOST_IN_CELL) for row in rows), default=1) or 1 for one in columns
        }
        places = [(one, part) for one in columns for part in range(parts[one])]
        sheet.append([one if part == 0 else f"{one}#{part + 1}" for one, part in places])
        for row in rows:
            texts = (row.get(one, "")[part * MOST_IN_CELL : (part + 1) * MOST_IN_CELL] for one, part in places)
            sheet.append([_text_cell(sheet, text) for text in texts])
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
    columns = _csv_columns(tables)
    rows = ({"table": name, **row} for name in tables for row in tables[name])
    return ("\ufeff" + write_table(columns, rows)).encode("utf-8")


def _csv_columns(names: Iterable[str]) -> tuple[str, ...]:
    return ("table", *dict.fromkeys(column for name in names for column in LAYOUT[name]))


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
    archived = _archived(data)
    if archived is not None:
        data = archived
    if data.startswith(b"PK"):
        return _checked(_read_xlsx(data))
    text = decode(data)
    return _checked(_read_json(text) if text.lstrip().startswith(("{", "[")) else _read_csv(text))


def _archived(data: bytes) -> bytes | None:
    """Return the tables inside an archive of everything; None for any other file."""
    if not data.startswith(b"PK"):
        return None
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if ARCHIVED not in archive.namelist():
                return None
            with archive.open(ARCHIVED) as packed:
                found = packed.read(LARGEST + 1)
    except BROKEN as error:
        raise _fault("This spreadsheet or archive cannot be read; fetch or save it again.") from error
    if len(found) > LARGEST:
        raise _fault(f"What is packed in this archive is larger than {LARGEST // 1_000_000} MB.")
    return found


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
        sheets = {sheet.title: list(_sheet_rows(sheet)) for sheet in book.worksheets if sheet.title in LAYOUT}
    except Unreadable:
        raise
    except BROKEN as error:
        raise _fault("This spreadsheet cannot be read; save it again as xlsx.") from error
    if not sheets:
        raise _fault("None of the sheets is called formulas, phases or lines.")
    return sheets


def _sheet_rows(sheet: Any) -> Iterable[dict[str, str]]:
    rows = sheet.iter_rows(values_only=True)
    heading = [_as_text(cell) for cell in next(rows, ())]
    for number, row in enumerate(rows):
        if number > MOST_ROWS:
            raise _fault(f"A sheet has more than {MOST_ROWS} rows; move so large a workshop with a backup.")
        cells: dict[str, str] = {}
        for name, cell in zip(heading, row, strict=False):
            whole = _GOES_ON.sub("", name)
            cells[whole] = cells.get(whole, "") + _as_text(cell) if whole != name else _as_text(cell)
        cells.pop("", None)
        if any(cells.values()):
            yield cells


def _as_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell == int(cell):
        return str(int(cell))
    return str(cell)


def _read_csv(text: str) -> dict[str, Any]:
    columns = _csv_columns(LAYOUT)
    found: dict[str, Any] = {}
    for record in read_csv_table(text, ("table",), columns):
        name = record.cells["table"].strip()
        if name not in LAYOUT:
            raise Unreadable([LineFault(record.line, f"There is no table called {name[:40]}.")])
        found.setdefault(name, []).append({key: record.cells.get(key, "") for key in LAYOUT[name]})
    return found


def _checked(found: Mapping[str, Any]) -> Tables:
    """Return the known tables with rows of texts; refuse anything else, naming where it stands."""
    tables = empty_tables(LAYOUT)
    for name, columns in LAYOUT.items():
        rows = found.get(name, [])
        if not isinstance(rows, list):
            raise _fault(f"The table {name} is no list of rows.")
        if len(rows) > MOST_ROWS:
            raise _fault(f"The table {name} has more than {MOST_ROWS} rows; move so large a workshop with a backup.")
        for number, row in enumerate(rows, start=1):
            if not isinstance(row, dict) or not all(isinstance(value, str) for value in row.values()):
                raise Unreadable([LineFault(number, f"In the table {name}: every cell has to be a text.")])
            if any("\x00" in value for value in row.values()):
                raise Unreadable([LineFault(number, f"In the table {name}: a cell holds a sign that no text has.")])
            tables[name].append({column: row.get(column, "") for column in columns})
    return tables


def is_hand_over(data: bytes) -> bool:
    """Return whether a file says that it is one of these, rather than a table somebody keeps."""
    if data.startswith(b"PK"):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                if ARCHIVED in archive.namelist():
                    return True
            book = load_workbook(io.BytesIO(data), read_only=True)
            return any(sheet.title in LAYOUT and _heading(sheet) & {"code", "formula"} for sheet in book.worksheets)
        except BROKEN:
            return False
    start = data[:200].decode("utf-8-sig", errors="replace").lstrip()
    return start.startswith(("{", "[")) or start.casefold().startswith(("table,", "table;", "table\t"))


def _heading(sheet: Any) -> set[str]:
    return {_as_text(cell) for cell in next(sheet.iter_rows(max_row=1, values_only=True), ())}
