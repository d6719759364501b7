"""Other names of substances: ``synonyms.csv``, ``kitchen_names.csv`` and, on labels, ``label_synonyms.csv``."""

from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType

from app.reference.tables import read_table
from app.science.names import inci_key

COLUMNS = ("name", "inci_name", "source_status")


@cache
def synonyms() -> Mapping[str, tuple[str, ...]]:
    """Return the INCI names that another name may stand for, by the other name as `inci_key`."""
    return _grouped((row["name"], row["inci_name"]) for row in read_table("synonyms", COLUMNS))


@cache
def kitchen_names() -> Mapping[str, str]:
    """Return the INCI names of kitchen and trade names that the library has no substance for, as `inci_key`."""
    return MappingProxyType({inci_key(row["name"]): row["inci_name"] for row in read_table("kitchen_names", COLUMNS)})


@cache
def other_names() -> Mapping[str, tuple[str, ...]]:
    """Return the other names of a substance in the trade and on labels, by its `inci_key`; for finding it."""
    trade = ((row["inci_name"], row["name"]) for row in read_table("synonyms", COLUMNS))
    printed = ((row["inci"], row["printed"]) for row in read_table("label_synonyms", ("printed", "inci", "mark")))
    return _grouped((*trade, *printed))


def _grouped(pairs: Iterable[tuple[str, str]]) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for key, value in pairs:
        found.setdefault(inci_key(key), []).append(value)
    return MappingProxyType({name: tuple(dict.fromkeys(values)) for name, values in found.items()})
