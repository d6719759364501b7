"""The rules of a jurisdiction with the maker's corrections laid over the shipped tables."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import Any

from app.reference.rulebook import colourants, rulebook
from app.science.names import inci_key
from app.science.rules.check import Rulebook
from app.science.rules.colourants import Colourant, ColourIndex, UseArea
from app.science.rules.compatibility import TradeRule
from app.science.rules.limits import LimitIndex
from app.science.rules.names import plain_name
from app.science.rules.values import Facts, LimitRule, Source
from app.work.rules.corrections import Correction

# What of an ingredient the rules ask about, and how the cell of a correction is read.
FACTS: Mapping[str, Callable[[str], Any]] = {
    "natural_origin_index": Decimal,
    "charge": str,
    "phase_hint": str,
    "electrolyte": lambda text: text == "yes",
}
TRADE_TABLES = ("compatibility", "process_rules")


def counts_in_checks(table: str, column: str) -> bool:
    """Return whether the checks follow a correction of this column; elsewhere it is kept beside the shipped value."""
    if table.startswith("limits/"):
        return column == "max_percent"
    if table == "ingredients":
        return column in FACTS
    return (table, column) == ("colourants", "eu_area") or (table in TRADE_TABLES and column == "why")


def own_source(correction: Correction) -> str:
    """Return whose value it is and where it is from."""
    by = f" by {correction.who}" if correction.who else ""
    return f"{correction.source}; corrected here{by} on {correction.at.astimezone():%Y-%m-%d}"


@lru_cache(maxsize=8)
def book_of(jurisdiction: str, corrections: tuple[Correction, ...] = ()) -> Rulebook:
    """Return the rules of a jurisdiction as the maker corrected them; made once for each set of corrections.

    Raises:
        KeyError: when the jurisdiction has no rules.
    """
    shipped = rulebook(jurisdiction)
    counted = [c for c in corrections if counts_in_checks(c.table, c.column)]
    if not counted:
        return shipped
    rules = tuple(corrected_limits(shipped.rules, counted))
    trade = corrected_trade(shipped.trade, counted)
    return replace(
        shipped,
        rules=rules,
        limits=LimitIndex(rules),
        colourants=ColourIndex(corrected_colourants(counted)),
        trade=trade,
        conditions=tuple(replace(c, rule=trade[c.rule.rule_id]) for c in shipped.conditions),
        facts_for=_facts(shipped.facts_for, counted),
    )


def limit_key(rule: LimitRule) -> str:
    """Return the key of a row of limits as the list of values from memory writes it."""
    return f"{rule.jurisdiction}, {rule.inci_name}, {rule.product_scope}"


def corrected_limits(rules: Iterable[LimitRule], corrections: Iterable[Correction]) -> Iterable[LimitRule]:
    """Put the maker's maximum in place of a shipped one that rests on memory, with the maker's source."""
    own = {c.key: c for c in corrections if c.table.startswith("limits/")}
    for rule in rules:
        found = own.get(limit_key(rule)) if rule.source_status == "from memory" else None
        if found is None:
            yield rule
        else:
            source = own_source(found)
            yield replace(rule, max_percent=Decimal(found.value), source=source, source_status="your own")


def corrected_colourants(corrections: Iterable[Correction]) -> tuple[Colourant, ...]:
    """Return the colourants with the areas of use that the maker put right."""
    own: dict[str, dict[str, Any]] = {
        c.key: {"eu_area": UseArea(int(c.value)), "source": Source(own_source(c), "your own")}
        for c in corrections
        if c.table == "colourants"
    }
    return tuple(replace(one, **own.get(one.ci, {})) for one in colourants())


def corrected_trade(shipped: Mapping[str, TradeRule], corrections: Iterable[Correction]) -> Mapping[str, TradeRule]:
    """Return the trade rules with the reasons that the maker put right."""
    own: dict[str, dict[str, Any]] = {
        c.key: {"why": c.value, "source": own_source(c), "source_status": "your own"}
        for c in corrections
        if c.table in TRADE_TABLES
    }
    return {key: replace(rule, **own.get(key, {})) for key, rule in shipped.items()}


def _facts(
    shipped: Callable[[tuple[str, ...]], Facts], corrections: Iterable[Correction]
) -> Callable[[tuple[str, ...]], Facts]:
    own: dict[str, dict[str, Any]] = {}
    for c in corrections:
        if c.table == "ingredients":
            own.setdefault(inci_key(plain_name(c.key)), {})[c.column] = FACTS[c.column](c.value)

    def facts_for(names: tuple[str, ...]) -> Facts:
        return {key: replace(known, **own.get(key, {})) for key, known in shipped(names).items()}

    return facts_for
