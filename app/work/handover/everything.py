"""Everything of a workshop as documented tables: CSV, JSON and a spreadsheet in one archive, with a README."""

import io
import re
import zipfile

from sqlalchemy.orm import Session

from app import NAME
from app.work.csv_text import write_table
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
        "is still open is not imported: it comes once it is decided. Not in here, but in a backup:",
        f"{NOT_CARRIED}.",
        "",
        "Every cell is text. Numbers have a point and no thousands mark, days and moments are ISO 8601, moments in",
        "UTC; yes stands for yes, an empty cell for no, none or not known. A cell that a spreadsheet would take for a",
        "formula has an apostrophe before it in CSV. Rows belong to a formula by its code, to a batch by its number,",
        "to a lot by its code and to a material by its name.",
    ]
    for name, (words, columns) in DESCRIBED.items():
        lines += ["", name, f"  {words}", *(f"    {column}: {meaning}" for column, meaning in columns.items())]
    return "\n".join(lines) + "\n"


def everything_out(session: Session) -> bytes:
    """Return the archive of everything."""
    tables: Tables = {**formulas_out(session, every=True), **records_out(session)}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", read_me())
        for name, rows in tables.items():
            # A minus before what is nothing but numbers begins no formula of a spreadsheet.
            numeric = [one for one in LAYOUT[name] if all(NUMBER.fullmatch(row.get(one, "")) for row in rows)]
            table = write_table(LAYOUT[name], rows, numeric)
            archive.writestr(f"csv/{name}.csv", "\ufeff" + table)
        archive.writestr(ARCHIVED, write_json(tables))
        archive.writestr("everything.xlsx", write_xlsx(tables))
    return out.getvalue()
