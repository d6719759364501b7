"""Where a shipped value comes from, and how far it was checked."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import chain
from pathlib import Path

from app.reference.tables import FOLDER, decimal_or_none


class Status(StrEnum):
    """How far a shipped value was checked against its source."""

    VERIFIED = "verified"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    COMPUTED = "computed"


@dataclass(frozen=True, slots=True)
class Provenance:
    """The source of one value in words, and its status."""

    source: str
    status: Status


PRACTICE = Provenance("a rule of the trade, no published source", Status.COMMON_PRACTICE)
MEMORY = Provenance("no source opened", Status.FROM_MEMORY)

_COMPUTED = ("computed", "by definition", "arithmetic")


def provenance_of(source: str, status: str) -> Provenance:
    """Read a source cell and its status cell; a value that follows by arithmetic is told apart.

    Raises:
        ValueError: when the status is not one of the known words.
    """
    word = Status(status.strip())
    if word is Status.VERIFIED and source.startswith(_COMPUTED):
        word = Status.COMPUTED
    return Provenance(source.strip(), word)


_SURENESS = (Status.COMPUTED, Status.VERIFIED, Status.COMMON_PRACTICE, Status.FROM_MEMORY)


def least_sure(sources: Iterable[Provenance]) -> Provenance:
    """Return the source that was checked least, the first of them when several are alike."""
    return max(sources, key=lambda source: _SURENESS.index(source.status))


@dataclass(frozen=True, slots=True)
class MemoryValue:
    """One shipped value that rests on memory, for the page that lists them all."""

    table: str
    key: str
    column: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class _Rule:
    """Which columns a status column speaks of, where their source stands, and what names the row."""

    status: str
    values: tuple[str, ...]
    source: str = "source"
    key: tuple[str, ...] = ("inci_name",)


_FATTY = (
    "C8_0",
    "C10_0",
    "C12_0",
    "C14_0",
    "C16_0",
    "C16_1",
    "C18_0",
    "C18_1",
    "C18_2",
    "C18_3",
    "C20_0",
    "C20_1",
    "C22_1",
    "ricinoleic",
)
_TYPICAL = ("sap_mg_koh_typical", "naoh_g_per_g_typical", "koh_g_per_g_typical")
_BLEND = ("blend_name", "component_inci")

_RULES: Mapping[str, tuple[_Rule, ...]] = {
    "ingredients": (
        _Rule("cas_status", ("cas",), "cas_source"),
        _Rule("density_status", ("density_g_ml",)),
        _Rule("", ("phase_hint", "solubility", "charge", "electrolyte", "natural_origin_index", "active_matter_pct")),
        _Rule("", ("notes",)),
    ),
    "blends": (_Rule("source_status", ("percent_low", "percent_typical", "percent_high"), key=_BLEND),),
    "blend_use": (
        _Rule("use_status", ("use_low_pct", "use_high_pct"), key=("blend_name",)),
        _Rule("ph_status", ("ph_min", "ph_max"), key=("blend_name",)),
    ),
    "densities": (_Rule("source_status", ("density_g_ml",), key=("inci_name", "common_name", "temp_c")),),
    "hlb": (_Rule("source_status", ("hlb", "hlb_low", "hlb_high")),),
    "required_hlb": (_Rule("source_status", ("required_hlb_ow", "ow_low", "ow_high", "required_hlb_wo")),),
    "sap": (
        _Rule("sap_range_status", ("sap_mg_koh_low", "sap_mg_koh_high"), "sap_source"),
        _Rule(
            "sap_typical_status", ("sap_mg_koh_typical", "naoh_g_per_g_typical", "koh_g_per_g_typical"), "sap_source"
        ),
        _Rule("iodine_status", ("iodine_low", "iodine_high"), "iodine_source"),
    ),
    "fatty_acid_profiles": (_Rule("source_status", _FATTY),),
    "limits": (_Rule("source_status", ("max_percent",), key=("jurisdiction", "inci_name", "product_scope")),),
    "compatibility": (_Rule("source_status", ("why",), key=("rule_id",)),),
    "process_rules": (_Rule("source_status", ("why",), key=("rule_id",)),),
    "pka": (_Rule("source_status", ("pKa_all",), key=("species",)),),
    "synonyms": (_Rule("source_status", ("inci_name",), key=("name",)),),
}


@cache
def from_memory() -> tuple[MemoryValue, ...]:
    """Return every shipped value that is marked as from memory, over all tables that mark their values.

    A table without a rule of its own counts with every number of a row whose ``source_status`` says so. A table
    that was split into a folder of its name is read there.
    """
    files = sorted(path for path in FOLDER.rglob("*.csv") if not path.with_suffix("").is_dir())
    return tuple(chain.from_iterable(_of_table(path) for path in files))


def _of_table(path: Path) -> Iterator[MemoryValue]:
    table = path.relative_to(FOLDER).with_suffix("").as_posix()
    with path.open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(line for line in handle if not line.startswith("#"))
        columns = reader.fieldnames or ()
        values = tuple(name for name in columns[1:] if not name.startswith(("source", "note")))
        usual = (_Rule("source_status", values, key=(columns[0],)),) if "source_status" in columns else ()
        rules = _RULES.get(table.partition("/")[0]) or usual
        for row in reader if rules else ():
            yield from (value for rule in rules for value in _of_row(table, rule, row))


def _of_row(table: str, rule: _Rule, row: Mapping[str, str]) -> Iterator[MemoryValue]:
    source = row.get(rule.source, "")
    checked = row.get("verified_fields", "").split(";")
    word = row[rule.status].strip() if rule.status else Status.FROM_MEMORY
    if word == Status.FROM_MEMORY or (word == Status.VERIFIED and Status.FROM_MEMORY in source):
        key = ", ".join(row[name] for name in rule.key)
        given = [name for name in rule.values if row[name] and name not in checked]
        kept = given if table.partition("/")[0] in _RULES else [name for name in given if _is_number(row[name])]
        yield from (
            MemoryValue(table, key, name, row[name], (rule.status and source) or MEMORY.source) for name in kept
        )


def _is_number(text: str) -> bool:
    try:
        return decimal_or_none(text) is not None
    except ValueError:
        return False
