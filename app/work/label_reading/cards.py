"""What is known of each name of a list, in words: what it is for, how much is usual, what the law allows."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from app.reference.inci_names import inci_names
from app.reference.inference_prior import class_labels
from app.reference.label_cover import library_shelf
from app.reference.library import Substance, substances
from app.reference.limits import limit_rows
from app.science.inference.cover import ShelfMaterial
from app.science.label_list.values import Certainty, ReadName
from app.science.numbers import plain
from app.science.rules.values import LimitRule
from app.work.label_reading.choosing import main_of
from app.work.label_reading.estimate import EstimateRow, LabelEstimate

MOST_LIMITS = 3
MOST_MATERIALS = 2


@dataclass(frozen=True, slots=True)
class Card:
    """One name in words; ``limits`` are (sentence, source), ``buy`` says where it can be had."""

    row: EstimateRow
    certainty: str
    purpose: str
    usual: str
    limits: tuple[tuple[str, str], ...]
    buy: str
    buyable: bool


def cards(sheet: LabelEstimate, own: Sequence[ShelfMaterial]) -> tuple[Card, ...]:
    """Describe every name of a list, with what stands on the maker's shelf before what the library knows."""
    mine, found = _holders(own), []
    for row in sheet.rows:
        key, shipped = row.name.key, substances().get(row.name.key)
        certainty, purpose, usual = certainty_words(row.name), _purpose(row, shipped), _usual(shipped)
        found.append(Card(row, certainty, purpose, usual, tuple(_limits(key, sheet.jurisdiction)), *_buy(key, mine)))
    return tuple(found)


def certainty_words(name: ReadName) -> str:
    """Return how sure it is which substance a printed name means."""
    if name.certainty is Certainty.EXACT:
        return "printed as the substance is named"
    if name.certainty is Certainty.SYNONYM:
        return f"another way to print {name.inci}"
    if name.certainty is Certainty.SPELLING:
        return f"read as {name.inci}, a likely slip of spelling"
    return "not known here; taken by the shape of its name"


def _purpose(row: EstimateRow, shipped: Substance | None) -> str:
    listed = inci_names().get(row.name.key)
    functions = shipped.functions if shipped else listed.functions if listed else ()
    label = class_labels().get(row.listed.class_name, "")
    label = "" if row.listed.class_name == "other" else label
    words = dict.fromkeys(w.replace("_", " ").casefold() for w in (label, *functions[:3]) if w)
    return "; ".join(words) or "not known"


def _usual(shipped: Substance | None) -> str:
    if shipped is None or (shipped.use_low is None and shipped.use_high is None):
        return "not known"
    low, high = shipped.use_low, shipped.use_high
    words = f"{plain(low)} to {plain(high)} %" if low is not None and high is not None else ""
    words = words or (f"up to {plain(high)} %" if high is not None else f"from {plain(low or shipped.use_low)} %")  # type: ignore[arg-type]
    active = shipped.active_matter_pct
    return f"{words} of the grade with {plain(active)} % in it" if active is not None and active < 100 else words


@cache
def _limit_rows(jurisdiction: str) -> Mapping[str, tuple[LimitRule, ...]]:
    """Group the rows that set a maximum or forbid, by the key of each substance they name."""
    found: dict[str, list[LimitRule]] = {}
    for row in limit_rows(jurisdiction):
        for key in row.factors if row.rule_type in ("max", "prohibited") else ():
            found.setdefault(key, []).append(row)
    return MappingProxyType({key: tuple(rows) for key, rows in found.items()})


def _limits(key: str, jurisdiction: str) -> Iterable[tuple[str, str]]:
    rows = _limit_rows(jurisdiction).get(key, ())
    for row in rows[:MOST_LIMITS]:
        yield limit_words(row), row.citation.text
    if len(rows) > MOST_LIMITS:
        yield f"and {len(rows) - MOST_LIMITS} more for other uses", "; ".join(r.legal_reference for r in rows[3:])


def limit_words(row: LimitRule) -> str:
    """Say a limit in one line."""
    if row.rule_type == "prohibited" or row.max_percent is None:
        return row.condition or "prohibited"
    basis = f" as {row.expressed_as}" if row.expressed_as not in ("", "as such", "each") else ""
    condition = f", {row.condition}" if row.condition else ""
    return f"at most {plain(row.max_percent)} %{basis}; {row.product_scope or 'all'}{condition}"


def _holders(materials: Iterable[ShelfMaterial]) -> Mapping[str, tuple[ShelfMaterial, ...]]:
    found: dict[str, list[ShelfMaterial]] = {}
    for material in materials:
        for key in material.parts:
            found.setdefault(key, []).append(material)
    return {key: tuple(sorted(rows, key=lambda m: (main_of(m) != key, len(m.parts)))) for key, rows in found.items()}


@cache
def _library() -> Mapping[str, tuple[ShelfMaterial, ...]]:
    return MappingProxyType(dict(_holders(library_shelf())))


def _buy(key: str, mine: Mapping[str, tuple[ShelfMaterial, ...]]) -> tuple[str, bool]:
    for place, held in (("On your shelf", mine.get(key, ())), ("In the library", _library().get(key, ()))):
        alone = [m for m in held if main_of(m) == key]
        if alone:
            return f"{place}: {_names(alone)}", True
        if held:
            return f"{place} only inside {_names(held)}", True
    return "Nothing on the shelf or in the library holds it", False


def _names(materials: Sequence[ShelfMaterial]) -> str:
    more = len(materials) - MOST_MATERIALS
    words = ", ".join(m.name for m in materials[:MOST_MATERIALS])
    return f"{words} and {more} more" if more > 0 else words
