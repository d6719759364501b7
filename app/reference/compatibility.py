"""The trade rules: what they say, what the engine looks for, the classes of substances, and the facts they ask."""

from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType

from app.reference.hair_dyes import dye_names
from app.reference.inci_names import inci_names
from app.reference.library import find_substance, split_cell
from app.reference.reported_use import highest_uses
from app.reference.tables import decimal_or_none, read_table
from app.reference.water import water_table
from app.science.names import inci_key
from app.science.rules.compatibility import SEVERITIES, Condition, TradeRule
from app.science.rules.names import plain_name
from app.science.rules.selectors import Classes, Selector
from app.science.rules.values import SubstanceFacts

COLUMNS = [
    "rule_id",
    "severity",
    "a_type",
    "a_values",
    "b_type",
    "b_values",
    "condition",
    "ph_below",
    "ph_above",
    "percent_above",
    "temp_above_c",
    "why",
    "action",
    "source",
    "source_status",
]
PROCESS_COLUMNS = [
    "rule_id",
    "severity",
    "title",
    "why",
    "action",
    "source",
    "source_status",
    "figure",
    "remark",
]
LOGIC_COLUMNS = [
    "rule_id",
    "a",
    "a_not",
    "a_above",
    "a_to",
    "b",
    "b_not",
    "b_above",
    "without",
    "milder_with",
    "milder_not",
    "ph_low",
    "ph_high",
    "only_below_ph",
    "temp_above",
    "water_above",
    "exposure",
    "order",
]

Row = Mapping[str, str]


@cache
def trade_rules() -> Mapping[str, TradeRule]:
    """Every trade rule by its number: the compatibility rules (C) and the process rules (P)."""
    pairs = []
    for row in read_table("compatibility", COLUMNS):
        at_any_level = row["b_type"] and row["condition"].startswith("any")
        words = row["condition"] or row["b_values"] or row["a_values"]
        pairs.append(_rule(row, "these do not go together" if at_any_level else words))
    process = [_rule(row, row["title"]) for row in read_table("process_rules", PROCESS_COLUMNS)]
    return MappingProxyType({rule.rule_id: rule for rule in (*pairs, *process)})


def _rule(row: Row, title: str) -> TradeRule:
    return TradeRule(
        row["rule_id"],
        SEVERITIES[row["severity"]],
        title,
        row["why"],
        row["action"],
        row["source"],
        row["source_status"],
    )


@cache
def conditions() -> tuple[Condition, ...]:
    """What the engine looks for, rule by rule.

    Raises:
        ValueError: when a row speaks of a rule or of a class that does not exist.
    """
    found = []
    for row in read_table("compatibility_logic", LOGIC_COLUMNS):
        if row["rule_id"] not in trade_rules():
            raise ValueError(f"compatibility_logic: there is no rule {row['rule_id']}")
        a = selector_of("compatibility_logic", row["a"], row["a_not"])
        if a is None:
            raise ValueError(f"compatibility_logic: {row['rule_id']} has no side a")
        found.append(
            Condition(
                rule=trade_rules()[row["rule_id"]],
                a=a,
                b=selector_of("compatibility_logic", row["b"], row["b_not"]),
                without=selector_of("compatibility_logic", row["without"]),
                milder=selector_of("compatibility_logic", row["milder_with"], row["milder_not"]),
                a_above=decimal_or_none(row["a_above"]),
                a_to=decimal_or_none(row["a_to"]),
                b_above=decimal_or_none(row["b_above"]),
                ph_low=decimal_or_none(row["ph_low"]),
                ph_high=decimal_or_none(row["ph_high"]),
                only_below_ph=decimal_or_none(row["only_below_ph"]),
                temp_above_c=decimal_or_none(row["temp_above"]),
                water_above=decimal_or_none(row["water_above"]),
                exposure=row["exposure"],
                order=row["order"],
            )
        )
    return tuple(found)


def selector_of(table: str, text: str, but: str = "") -> Selector | None:
    """Return what a cell of a table chooses, but for what another excepts; None for an empty cell.

    Raises:
        ValueError: naming the table, when a cell speaks of a class that does not exist.
    """
    items = split_cell(text)
    named = {i.removeprefix("class:") for i in (*items, *split_cell(but)) if i.startswith("class:")}
    if not named <= classes().names:
        raise ValueError(f"{table}: unknown class {', '.join(sorted(named - classes().names))}")
    return Selector(items, split_cell(but)) if items else None


@cache
def classes() -> Classes:
    """The classes of substances that the rules speak of."""
    rows = read_table("substance_classes", ("class", "pattern", "source_status"))
    fragrant = read_table("fragrant_materials", ("pattern", "kind", "source_status"))
    oils = (("essential_oil", row["pattern"]) for row in fragrant if row["kind"] == "essential oil")
    dyes = (("coal_tar_dye", name) for name in dye_names())
    return Classes((*((row["class"], row["pattern"]) for row in rows), *oils, *dyes))


def facts_for(names: Iterable[str]) -> Mapping[str, SubstanceFacts]:
    """Return what the tables know of some substances, by `inci_key` of their plain name.

    The library answers first; a name it does not hold gets the functions of the inventory.
    """
    return {inci_key(plain_name(name)): _facts(plain_name(name)) for name in names}


@cache
def _facts(name: str) -> SubstanceFacts:
    substance, water = find_substance(name), water_table().percent_in(name)
    if substance is not None:
        # The library's use range is for the grade as supplied, so it is dropped for solutions.
        as_supplied = substance.active_matter_pct is None or substance.active_matter_pct == 100
        return SubstanceFacts(
            functions=frozenset(substance.functions),
            group=substance.group,
            phase_hint=substance.phase_hint,
            charge=substance.charge,
            electrolyte=substance.electrolyte,
            ph_min=substance.ph_min,
            ph_max=substance.ph_max,
            use_low=substance.use_low if as_supplied else None,
            use_high=substance.use_high if as_supplied else None,
            highest_uses=highest_uses().get(inci_key(substance.inci), ()),
            max_temp_c=substance.max_temp_c,
            natural_origin_index=substance.natural_origin_index,
            molar_mass_g_mol=substance.molar_mass_g_mol,
            water_percent=water,
        )
    listed = inci_names().get(inci_key(name))
    return SubstanceFacts(functions=frozenset(listed.functions if listed else ()), water_percent=water)
