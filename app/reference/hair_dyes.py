"""The entries of Annex III on hair dyes."""

from datetime import date
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import split_cell
from app.reference.tables import decimal_or_none, read_table
from app.science.rules.hair_dyes import HairDye, HairDyeIndex
from app.science.rules.names import rule_key
from app.science.rules.values import Source

COLUMNS = [
    "entry",
    "names",
    "cas",
    "oxidative",
    "oxidative_max_percent",
    "non_oxidative",
    "non_oxidative_max_percent",
    "eyelashes",
    "nitrosamine_conditions",
    "allergy_legend",
    "named_as",
    "also_colour",
    "listed_from",
    "source",
    "source_status",
]


@cache
def hair_dyes() -> tuple[HairDye, ...]:
    """Return the dyes in the order of the annex."""
    found = []
    for row in read_table("hair_dyes", COLUMNS):
        pairs = [name.partition("=") for name in split_cell(row["names"])]
        found.append(
            HairDye(
                entry=row["entry"],
                names=tuple(name for name, _, _ in pairs),
                factors=MappingProxyType({rule_key(name): Decimal(factor or 1) for name, _, factor in pairs}),
                oxidative=row["oxidative"] == "yes",
                oxidative_max=decimal_or_none(row["oxidative_max_percent"]),
                direct=row["non_oxidative"] == "yes",
                direct_max=decimal_or_none(row["non_oxidative_max_percent"]),
                eyelashes=row["eyelashes"] == "yes",
                needs_nitrosamine_data=row["nitrosamine_conditions"] == "yes",
                has_legend=row["allergy_legend"] == "yes",
                named_as=row["named_as"],
                also_colour=row["also_colour"] == "yes",
                listed_from=date.fromisoformat(row["listed_from"]) if row["listed_from"] else None,
                source=Source(row["source"], row["source_status"]),
            )
        )
    return tuple(found)


def dye_names() -> tuple[str, ...]:
    """Return the names of the dyes that are dyes and nothing else, for the class ``coal_tar_dye``."""
    rows = [row for row in read_table("hair_dyes", COLUMNS) if row["also_colour"] == "no"]
    return tuple(name.partition("=")[0] for row in rows for name in split_cell(row["names"]))


@cache
def hair_dye_index() -> HairDyeIndex:
    """Return the dyes ready for looking names up."""
    return HairDyeIndex(hair_dyes())
