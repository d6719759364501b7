"""Rules on the product as a whole: hazards, eyes, children, sun, essential oils, and what a country calls a drug.

A rule is data: the kinds of product and the exposure it is for, the measure it looks at, the bound, and the words. Of
rules in one group only the gravest that applies is said, so that one cause makes one finding.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from app.science.numbers import figures, plain
from app.science.rules.scope import closeness
from app.science.rules.selectors import Ingredient, Ingredients, Selector
from app.science.rules.values import Finding, FormulaFacts, LimitUnit, Severity, Source, Verdict

ORDER = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


class RuleSubject(StrEnum):
    """What a rule looks at."""

    KIND = "kind"
    AMOUNT = "amount"
    PH = "ph"
    FREE_ALKALI = "free alkali"
    PHOTOTOXIC = "phototoxic"
    WATER = "water"


@dataclass(frozen=True, slots=True)
class ProductRule:
    """When a rule applies and what it says.

    ``scope`` is a scope of `science.rules.scope`; without a known kind of product only a scope that is empty or made
    of bars alone applies. ``at_least`` and ``above`` bound the measure (% w/w, or pH) from below, ``up_to`` and
    ``below`` from above. ``weights`` count a substance by less or more than its amount, by key of its name.
    ``beside`` must be there too, ``without`` may not; ``water_above`` asks for water, % w/w.
    """

    rule_id: str
    jurisdictions: frozenset[str]
    group: str
    severity: Severity
    scope: frozenset[str]
    exposure: str
    measure: RuleSubject
    selector: Selector | None
    weights: Mapping[str, Decimal]
    at_least: Decimal | None
    above: Decimal | None
    up_to: Decimal | None
    below: Decimal | None
    beside: Selector | None
    without: Selector | None
    water_above: Decimal | None
    ph_up_to: Decimal | None
    ph_above: Decimal | None
    what: str
    why: str
    action: str
    quote: str
    source: Source


@dataclass(frozen=True, slots=True)
class ProductFigures:
    """What was worked out of a formula, % w/w: its water and free alkali; ``phototoxic`` is a sum of shares."""

    water: Decimal
    free_alkali: Decimal
    phototoxic: Decimal
    phototoxic_parts: tuple[tuple[Ingredient, Decimal], ...] = ()
    alkali: tuple[Ingredient, ...] = ()


def check_product_rules(
    formula: FormulaFacts,
    present: Ingredients,
    rules: Iterable[ProductRule],
    jurisdiction: str,
    measured: ProductFigures,
) -> Verdict:
    """Return what the rules say of a formula, of each group the gravest only."""
    found: dict[str, tuple[int, Finding]] = {}
    for rule in rules:
        if jurisdiction in rule.jurisdictions and _is_for(rule, formula):
            finding = _find(rule, formula, present, measured)
            if finding is not None:
                weight = ORDER[finding.severity]
                if rule.group not in found or weight < found[rule.group][0]:
                    found[rule.group] = (weight, finding)
    return Verdict(tuple(finding for _, finding in found.values()))


def _is_for(rule: ProductRule, formula: FormulaFacts) -> bool:
    if rule.exposure not in ("", formula.exposure):
        return False
    if not rule.scope:
        return True
    if formula.products:
        return closeness(rule.scope, formula.products) > 0
    return any(all(part.strip().startswith("!") for part in way.split("+")) for way in rule.scope)


def _find(rule: ProductRule, formula: FormulaFacts, present: Ingredients, measured: ProductFigures) -> Finding | None:
    if not (_company_fits(rule, present, measured) and _ph_fits(rule, formula.ph)):
        return None
    hits = [] if rule.selector is None else rule.selector.hits(present)
    if rule.selector is not None and not hits:
        return None
    value = _value(rule, formula, hits, measured)
    if rule.measure != RuleSubject.KIND and (value is None or not _within(rule, value)):
        return None
    if rule.measure == RuleSubject.FREE_ALKALI:
        hits = list(measured.alkali)
    return _finding(rule, hits, value, measured)


def _company_fits(rule: ProductRule, present: Ingredients, measured: ProductFigures) -> bool:
    if rule.without is not None and rule.without.hits(present):
        return False
    if rule.beside is not None and not rule.beside.hits(present):
        return False
    return rule.water_above is None or measured.water > rule.water_above


def _ph_fits(rule: ProductRule, ph: Decimal | None) -> bool:
    if rule.ph_up_to is None and rule.ph_above is None:
        return True
    if ph is None:
        return False
    return (rule.ph_up_to is None or ph <= rule.ph_up_to) and (rule.ph_above is None or ph > rule.ph_above)


def _value(
    rule: ProductRule, formula: FormulaFacts, hits: Iterable[Ingredient], measured: ProductFigures
) -> Decimal | None:
    if rule.measure == RuleSubject.AMOUNT:
        return sum((i.percent * rule.weights.get(i.key, Decimal(1)) for i in hits), Decimal(0))
    if rule.measure == RuleSubject.FREE_ALKALI:
        return None if formula.ph is not None else measured.free_alkali
    return {
        RuleSubject.PH: formula.ph,
        RuleSubject.PHOTOTOXIC: measured.phototoxic,
        RuleSubject.WATER: measured.water,
    }.get(rule.measure)


def _within(rule: ProductRule, value: Decimal) -> bool:
    low = (rule.at_least is None or value >= rule.at_least) and (rule.above is None or value > rule.above)
    return low and (rule.up_to is None or value <= rule.up_to) and (rule.below is None or value < rule.below)


def _finding(rule: ProductRule, hits: Sequence[Ingredient], value: Decimal | None, measured: ProductFigures) -> Finding:
    bounds = (rule.at_least, rule.above, rule.up_to, rule.below)
    limit = next((bound for bound in bounds if bound is not None), None)
    names = ", ".join(i.name for i in hits)
    unit = {RuleSubject.PH: LimitUnit.PH, RuleSubject.PHOTOTOXIC: LimitUnit.RATIO}.get(rule.measure, LimitUnit.PERCENT)
    amount = "" if value is None else unit.write(value, 4)
    what = rule.what.replace("{names}", names).replace("{amount}", amount)
    what = what.replace(
        "{parts}",
        ", ".join(f"{i.name} {figures(i.percent, 3)} % of {plain(top)} %" for i, top in measured.phototoxic_parts),
    )
    return Finding(
        rule=rule.rule_id,
        severity=rule.severity,
        inci=tuple(i.name for i in hits or (oil for oil, _ in measured.phototoxic_parts if "{parts}" in rule.what)),
        what=what,
        source=rule.source,
        limit=limit if rule.measure != RuleSubject.KIND and value is not None else None,
        found=value if rule.measure != RuleSubject.KIND else None,
        materials=tuple(dict.fromkeys(m for i in hits for m in i.materials)),
        why=rule.why,
        action=rule.action,
        unit=unit,
        quote=rule.quote,
    )


# Fats and acids take up alkali; grams of sodium hydroxide that a gram takes, from the molar masses (fats: from the
# saponification of common oils, handbook figures). What is left over is free.
UPTAKE = {
    "oil": Decimal("0.134"),
    "wax": Decimal("0.06"),
    "acid": Decimal("0.3"),
    "carbomer": Decimal("0.5"),
}
ALKALI = {
    "SODIUMHYDROXIDE": Decimal(1),
    "POTASSIUMHYDROXIDE": Decimal("0.7129"),
    "LITHIUMHYDROXIDE": Decimal("1.670"),
    "CALCIUMHYDROXIDE": Decimal("1.0796"),
}
ACIDS = {
    "CITRICACID": Decimal("0.625"),
    "LACTICACID": Decimal("0.444"),
    "GLYCOLICACID": Decimal("0.526"),
    "MANDELICACID": Decimal("0.263"),
    "MALICACID": Decimal("0.597"),
    "TARTARICACID": Decimal("0.533"),
    "SALICYLICACID": Decimal("0.290"),
    "BENZOICACID": Decimal("0.328"),
    "SORBICACID": Decimal("0.357"),
    "ASCORBICACID": Decimal("0.227"),
    "PHOSPHORICACID": Decimal("0.816"),
    "STEARICACID": Decimal("0.141"),
    "LAURICACID": Decimal("0.200"),
    "MYRISTICACID": Decimal("0.175"),
    "PALMITICACID": Decimal("0.156"),
    "OLEICACID": Decimal("0.142"),
    "COCONUTACID": Decimal("0.19"),
    "AZELAICACID": Decimal("0.425"),
    "PHYTICACID": Decimal("0.73"),
    "THIOGLYCOLICACID": Decimal("0.868"),
    "LEVULINICACID": Decimal("0.344"),
    "HYALURONICACID": Decimal("0.1"),
    "EDTA": Decimal("0.547"),
    "DISODIUMEDTA": Decimal("0.215"),
}


def free_alkali(present: Iterable[Ingredient]) -> tuple[Decimal, tuple[Ingredient, ...]]:
    """Return the alkali hydroxide that nothing in the formula takes up, % w/w as sodium hydroxide, and its names.

    An estimate by equivalents: each acid takes what its molar mass says, fats what they take in soap making.
    """
    all_ = tuple(present)
    alkali = tuple(i for i in all_ if i.key in ALKALI)
    total = sum((i.percent * ALKALI[i.key] for i in alkali), Decimal(0))
    if not total:
        return Decimal(0), ()
    taken = sum((_uptake(i) for i in all_), Decimal(0))
    return max(total - taken, Decimal(0)), alkali


def _uptake(i: Ingredient) -> Decimal:
    if i.key in ACIDS:
        return i.percent * ACIDS[i.key]
    for name in ("carbomer", "wax", "oil"):
        if i.is_a(name) or (name == "carbomer" and i.is_a("anionic_polymer")):
            return i.percent * UPTAKE[name]
    known = i.facts.group == "vegetable oils and butters"
    return (
        i.percent * UPTAKE["oil"] if known else i.percent * UPTAKE["acid"] if i.words.endswith(" ACID") else Decimal(0)
    )


def phototoxic_sum(
    present: Iterable[Ingredient], limits: Mapping[str, Decimal]
) -> tuple[Decimal, tuple[tuple[Ingredient, Decimal], ...]]:
    """Return the sum of amount over highest amount for phototoxic oils, and the oils with their highest amounts.

    R. Tisserand and R. Young, Essential Oil Safety, 2014: several oils together up to a sum of 1 in what stays on skin
    that sees the sun. ``limits`` are % w/w by key of the name.
    """
    parts = tuple((i, limits[i.key]) for i in present if i.key in limits)
    return sum((i.percent / top for i, top in parts), Decimal(0)), parts
