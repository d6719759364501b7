"""Other names of substances, on labels and in the trade, of ``synonyms.csv``."""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from app.reference.tables import read_table
from app.science.names import inci_key

COLUMNS = ("name", "inci_name", "source_status")


@cache
def synonyms() -> Mapping[str, tuple[str, ...]]:
    """The INCI names that another name may stand for, by the other name as `inci_key`."""
    return _grouped("name", "inci_name")


@cache
def other_names() -> Mapping[str, tuple[str, ...]]:
    """The other names of a substance by its `inci_key`."""
    return _grouped("inci_name", "name")


def _grouped(key: str, value: str) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for row in read_table("synonyms", COLUMNS):
        found.setdefault(inci_key(row[key]), []).append(row[value])
    return MappingProxyType({name: tuple(values) for name, values in found.items()})
