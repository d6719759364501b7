"""The names that differ between EU and US labels, read once from ``declaration_names.csv``."""

from functools import cache

from app.reference.tables import read_table
from app.science.declaration.names import NameBook, NameRow
from app.science.names import inci_key

COLUMNS = ("kind", "names", "eu_name", "us_name", "cas", "note", "source", "source_status")
KINDS = frozenset({"plain", "perfume", "flavour", "plant", "colour"})


@cache
def name_rows() -> tuple[NameRow, ...]:
    """Read the rows.

    Raises:
        ValueError: when a kind is unknown or a row has neither name.
    """
    rows = read_table("declaration_names", COLUMNS)
    for cells in rows:
        if cells["kind"] not in KINDS or not (cells["eu_name"] or cells["us_name"]):
            raise ValueError(f"declaration_names.csv: kind or names are wrong for {cells['names']!r}")
    return tuple(
        NameRow(
            kind=cells["kind"],
            names=tuple(inci_key(name) for name in cells["names"].split("|")),
            eu_name=cells["eu_name"],
            us_name=cells["us_name"],
            cas=tuple(number for number in cells["cas"].split("|") if number),
            note=cells["note"],
        )
        for cells in rows
    )


@cache
def name_book() -> NameBook:
    """Return the tables of names, ready for looking up."""
    return NameBook.of(name_rows())
