"""The rules on the product as a whole, and the highest amounts of phototoxic oils."""

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.compatibility import selector_of
from app.reference.library import split_cell
from app.reference.product_kinds import words_for
from app.reference.tables import decimal_or_none, read_table
from app.science.rules.implied import ImpliedKind
from app.science.rules.names import rule_key
from app.science.rules.product_rules import ProductRule, RuleSubject
from app.science.rules.values import Exposure, Severity, Source

COLUMNS = [
    "id",
    "jurisdiction",
    "group",
    "severity",
    "products",
    "exposure",
    "measure",
    "selector",
    "but",
    "at_least",
    "above",
    "up_to",
    "below",
    "beside",
    "without",
    "water_above",
    "ph_up_to",
    "ph_above",
    "what",
    "why",
    "action",
    "quote",
    "source",
    "source_status",
]
IMPLIED_COLUMNS = ["kind", "exposure", "selector", "at_least", "ph_above", "ph_up_to", "source", "source_status"]
PHOTOTOXIC_COLUMNS = [
    "inci_name",
    "other_names",
    "common_name",
    "max_leave_on_percent",
    "source",
    "source_status",
    "notes",
]


@cache
def product_rules() -> tuple[ProductRule, ...]:
    """Return every rule in the order of the table.

    Raises:
        ValueError: when a row speaks of a class that does not exist.
    """
    found = []
    for row in read_table("product_rules", COLUMNS):
        items = [item.partition("=") for item in split_cell(row["selector"])]
        found.append(
            ProductRule(
                rule_id=row["id"],
                jurisdictions=frozenset(split_cell(row["jurisdiction"])),
                group=row["group"],
                severity=Severity(row["severity"]),
                scope=frozenset(split_cell(row["products"])),
                exposure=row["exposure"],
                measure=RuleSubject(row["measure"]),
                selector=selector_of("product_rules", "; ".join(name for name, _, _ in items), row["but"]),
                weights=MappingProxyType({rule_key(name): Decimal(weight) for name, _, weight in items if weight}),
                at_least=decimal_or_none(row["at_least"]),
                above=decimal_or_none(row["above"]),
                up_to=decimal_or_none(row["up_to"]),
                below=decimal_or_none(row["below"]),
                beside=selector_of("product_rules", row["beside"]),
                without=selector_of("product_rules", row["without"]),
                water_above=decimal_or_none(row["water_above"]),
                ph_up_to=decimal_or_none(row["ph_up_to"]),
                ph_above=decimal_or_none(row["ph_above"]),
                what=row["what"],
                why=row["why"],
                action=row["action"],
                quote=row["quote"],
                source=Source(row["source"], row["source_status"]),
            )
        )
    return tuple(found)


@cache
def implied_kinds() -> tuple[ImpliedKind, ...]:
    """Return the kinds of product that a formula gives away, in the order in which they are asked."""
    found = []
    for row in read_table("implied_kinds", IMPLIED_COLUMNS):
        selector = selector_of("implied_kinds", row["selector"])
        if selector is None:
            raise ValueError(f"implied_kinds: nothing gives away {row['kind']}")
        found.append(
            ImpliedKind(
                kind=row["kind"],
                words=words_for(row["kind"]),
                exposure=Exposure(row["exposure"]) if row["exposure"] else None,
                selector=selector,
                at_least=Decimal(row["at_least"]),
                ph_above=decimal_or_none(row["ph_above"]),
                ph_up_to=decimal_or_none(row["ph_up_to"]),
            )
        )
    return tuple(found)


@cache
def phototoxic_limits() -> Mapping[str, Decimal]:
    """Return the highest amount of each phototoxic oil in what stays on skin, % w/w, by key of every name."""
    found: dict[str, Decimal] = {}
    for row in read_table("phototoxic_oils", PHOTOTOXIC_COLUMNS):
        top = decimal_or_none(row["max_leave_on_percent"])
        if top is not None:
            found |= {rule_key(name): top for name in (row["inci_name"], *split_cell(row["other_names"]))}
    return MappingProxyType(found)
