"""Annex II of Regulation (EC) 1223/2009, every entry, with the INCI names that it takes in."""

from functools import cache

from app.reference.library import split_cell
from app.reference.tables import read_table
from app.science.rules.prohibited import Barred, ProhibitedEntry, ProhibitedIndex
from app.science.rules.values import Source

COLUMNS = [
    "entry",
    "substance",
    "cas",
    "names",
    "doubtful_names",
    "condition",
    "regulation",
    "as_of",
    "source",
    "source_status",
]


@cache
def prohibited_entries() -> tuple[ProhibitedEntry, ...]:
    """Return the 1,736 entries in the order of the annex."""
    return tuple(
        ProhibitedEntry(
            entry=row["entry"],
            substance=row["substance"],
            names=split_cell(row["names"]),
            doubtful=split_cell(row["doubtful_names"]),
            cas=split_cell(row["cas"]),
            condition=Barred(row["condition"]),
            source=Source(f"{row['regulation']}, as of {row['as_of']}; {row['source']}", row["source_status"]),
        )
        for row in read_table("prohibited", COLUMNS)
    )


@cache
def prohibited_index() -> ProhibitedIndex:
    """Return the entries ready for looking names up."""
    return ProhibitedIndex(prohibited_entries())
