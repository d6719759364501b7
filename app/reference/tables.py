"""Reading the shipped tables: strict about their columns, so that a slipped file cannot pass."""

import csv
from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "seed_data" / "reference"


def read_table(name: str, columns: Iterable[str]) -> list[dict[str, str]]:
    """Read ``seed_data/reference/<name>.csv``; lines that begin with ``#`` are remarks.

    Raises:
        ValueError: when the columns of the file are not exactly the expected ones, or a row is ragged.
    """
    expected = list(columns)
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(line for line in handle if not line.startswith("#"))
        if reader.fieldnames is None or list(reader.fieldnames) != expected:
            raise ValueError(f"{name}.csv: columns are {reader.fieldnames}, expected {expected}")
        rows = list(reader)
    for number, row in enumerate(rows, start=1):
        if None in row or None in row.values():
            raise ValueError(f"{name}.csv: row {number} has the wrong number of cells")
    return rows


def decimal_or_none(text: str) -> Decimal | None:
    """Read a cell as an exact decimal; an empty cell is None.

    Raises:
        ValueError: when the cell holds something else than a finite number.
    """
    if not text.strip():
        return None
    try:
        value = Decimal(text.strip())
    except InvalidOperation as error:
        raise ValueError(f"not a number: {text!r}") from error
    if not value.is_finite():
        raise ValueError(f"not a finite number: {text!r}")
    return value
