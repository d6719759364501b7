"""Everything of a workshop as documented tables: CSV, JSON and a spreadsheet in one archive, with a README."""

import io
import re
import zipfile

from sqlalchemy.orm import Session

from app import NAME
from app.work.csv_text import write_table
from app.work.handover.for_reading import FOR_READING, read_only_out
from app.work.handover.going_out import formulas_out
from app.work.handover.records import NOT_CARRIED, records_out
from app.work.handover.tables import ARCHIVED, DESCRIBED, LAYOUT, Tables, write_json, write_xlsx

NUMBER = re.compile(r"(-?\d+(\.\d+)?)?")


def read_me() -> str:
    """Return the text that explains the archive, table by table and column by column."""
    lines = [
        f"Everything of a workshop, written by {NAME}.",
        "",
        "csv/NAME.csv      each table as CSV (RFC 4180, UTF-8 with a mark, comma, heading in the first line)",
        "everything.json   the same tables as one JSON object: a list of rows for each table",
        "everything.xlsx   the same tables as sheets of one workbook; every cell is text",
        "",
        "The archive, its JSON or its workbook can be imported by the program as it is: formulas with versions and",
        "products, materials, packaging, prices, suppliers, lots with their ledger, and decided batches. A batch that",
        "is still open is not imported: it comes once it is decided. For reading only, as CSV, and left where they are",
        f"by an import: {', '.join(name.replace('_', ' ') for name in FOR_READING)}.",
        "Not in here, but in a backup:",
        f"{NOT_CARRIED}.",
        "",
        "Every cell is text. Numbers have a point and no thousands mark, days and moments are ISO 8601, moments in",
        "UTC; yes stands for yes, an empty cell for no, none or not known. A cell that a spreadsheet would take for a",
        "formula has an apostrophe before it in CSV. Rows belong to a formula by its code, to a batch by its number,",
        "to a lot by its code and to a material by its name.",
    ]
    read_only = {
        name: (sheet.words, {key: column.words for key, column in sheet.columns.items()})
        for name, sheet in FOR_READING.items()
    }
    for name, (words, columns) in {**DESCRIBED, **read_only}.items():
        lines += ["", name, f"  {words}", *(f"    {column}: {meaning}" for column, meaning in columns.items())]
    return "\n".join(lines) + "\n"


def everything_out(session: Session) -> bytes:
    """Return the archive of everything."""
    tables: Tables = {**formulas_out(session, every=True), **records_out(session)}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", read_me())
        layout = {**LAYOUT, **{name: tuple(sheet.columns) for name, sheet in FOR_READING.items()}}
        for name, rows in {**tables, **read_only_out(session)}.items():
            # A minus before a number is no formula of a spreadsheet.
            numeric = [one for one in layout[name] if all(NUMBER.fullmatch(row.get(one, "")) for row in rows)]
            archive.writestr(f"csv/{name}.csv", "\ufeff" + write_table(layout[name], rows, numeric))
        archive.writestr(ARCHIVED, write_json(tables))
        archive.writestr("everything.xlsx", write_xlsx(tables))
    return out.getvalue()
