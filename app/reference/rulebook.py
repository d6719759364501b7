"""Every table of rules of a jurisdiction, made ready for a check."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from functools import cache

from app.reference.allergens import allergen_index
from app.reference.compatibility import classes, conditions, facts_for, trade_rules
from app.reference.inci_names import inci_names
from app.reference.library import find_substance, split_cell
from app.reference.limits import formaldehyde_releasers, limit_index, limit_rules
from app.reference.tables import decimal_or_none, read_table
from app.science.composition import DosedMaterial, Part
from app.science.names import inci_key
from app.science.rules.check import Rulebook
from app.science.rules.colourants import Area, Colourant, ColourIndex
from app.science.rules.names import is_water, rule_key
from app.science.rules.selectors import Selector
from app.science.rules.values import Source
from app.science.rules.warnings import WarningRule

JURISDICTIONS = ("EU", "US")
WARNING_COLUMNS = [
    "id",
    "jurisdiction",
    "selector",
    "above",
    "exposure",
    "product",
    "legal",
    "text",
    "reason",
    "source",
    "source_status",
]


@cache
def rulebook(jurisdiction: str) -> Rulebook:
    """Give the rules of a jurisdiction, ``EU`` or ``US``.

    Raises:
        KeyError: when the jurisdiction has no rules.
    """
    if jurisdiction not in JURISDICTIONS:
        raise KeyError(jurisdiction)
    return Rulebook(
        jurisdiction=jurisdiction,
        limits=limit_index(jurisdiction),
        rules=limit_rules(jurisdiction),
        releasers=formaldehyde_releasers(),
        allergens=allergen_index(jurisdiction),
        colourants=colour_index(),
        conditions=conditions(),
        classes=classes(),
        trade=trade_rules(),
        warnings=warning_rules(),
        facts_for=facts_for,
    )


def in_inci(materials: Iterable[DosedMaterial]) -> tuple[DosedMaterial, ...]:
    """Put the INCI name in place of a trade or kitchen name that leads to one substance; other names stay."""
    return tuple(replace(m, parts=tuple(_in_inci(part) for part in m.parts)) for m in materials)


def _in_inci(part: Part) -> Part:
    if inci_key(part.inci) in inci_names() or is_water(part.inci):
        return part
    known = find_substance(part.inci)
    return part if known is None else replace(part, inci=known.inci)


@cache
def warning_rules() -> tuple[WarningRule, ...]:
    """The statements for labels that kinds of product and trade knowledge ask for."""
    return tuple(_warning(row) for row in read_table("warnings", WARNING_COLUMNS))


def _warning(row: dict[str, str]) -> WarningRule:
    return WarningRule(
        rule_id=row["id"],
        jurisdictions=frozenset(split_cell(row["jurisdiction"])),
        selector=Selector(split_cell(row["selector"])) if row["selector"] else None,
        above=decimal_or_none(row["above"]) or Decimal(0),
        exposure=row["exposure"],
        product=row["product"],
        is_legal=row["legal"] == "legal",
        text=row["text"],
        reason=row["reason"],
        source=Source(row["source"], row["source_status"]),
    )


@cache
def colourants() -> tuple[Colourant, ...]:
    """The colourants of the shipped table, in its order."""
    columns = ("ci", "names", "eu_area", "us_name", "us_use", "source", "source_status")
    return tuple(_colourant(row) for row in read_table("colourants", columns))


@cache
def colour_index() -> ColourIndex:
    """The colourants by CI number and name."""
    return ColourIndex(colourants())


def _colourant(row: dict[str, str]) -> Colourant:
    names: Iterable[str] = (row["ci"], *split_cell(row["names"]))
    return Colourant(
        ci=row["ci"],
        names=frozenset(rule_key(name) for name in names),
        eu_area=Area(int(row["eu_area"])) if row["eu_area"] else None,
        us_name=row["us_name"],
        us_use=row["us_use"],
        source=Source(row["source"], row["source_status"]),
    )
