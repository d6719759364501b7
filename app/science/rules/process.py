"""Trade rules that look at the formula as a whole: water kept from microbes, oil held in water, ranges, heat."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal

from app.science.rules.compatibility import TradeRule
from app.science.rules.counts import is_emulsifier, is_oil, water_activity
from app.science.rules.names import plain
from app.science.rules.selectors import Classes, Ingredient, ingredients
from app.science.rules.values import Facts, Finding, FormulaFacts, Unit, Verdict

# Figures of formulation practice (from memory): bound water, alcohol that keeps, and what is too little to matter.
KEEPING_ACTIVITY = Decimal("0.7")
KEEPING_ALCOHOL_SHARE = Decimal("0.20")
SOLVING_ALCOHOL_SHARE = Decimal("0.30")
WATER_TO_KEEP_PERCENT = Decimal(3)
WATER_TO_EMULSIFY_PERCENT = Decimal(5)
OIL_TO_EMULSIFY_PERCENT = Decimal("0.5")
PHASE_GAP_C = Decimal(5)

Rules = Mapping[str, TradeRule]


def check_process(formula: FormulaFacts, rules: Rules, classes: Classes, facts: Facts) -> Verdict:
    """Judge a formula as a whole by the process rules P01 to P07."""
    present = ingredients(formula.materials, classes, facts)
    checks: tuple[Callable[[], Iterable[Finding]], ...] = (
        lambda: _unpreserved(present, rules),
        lambda: _unemulsified(present, rules["P02"]),
        lambda: _too_hot(present, formula, rules["P03"]),
        lambda: _out_of_use(present, rules["P04"]),
        lambda: _out_of_ph(present, formula, rules["P05"]),
        lambda: _gap(formula, rules["P06"]),
    )
    return Verdict(tuple(f for check in checks for f in check()), _not_checked(present, formula))


def _sum(present: Iterable[Ingredient]) -> Decimal:
    return sum((i.percent for i in present), Decimal(0))


def _water(present: Iterable[Ingredient]) -> Decimal:
    return _sum(i for i in present if i.is_water)


def _alcohol_share(present: Sequence[Ingredient]) -> Decimal:
    alcohol = _sum(i for i in present if i.is_a("alcohol"))
    return alcohol / (alcohol + _water(present)) if alcohol else Decimal(0)


def _say(
    rule: TradeRule,
    names: Iterable[str],
    what: str,
    limit: Decimal | None = None,
    found: Decimal | None = None,
    unit: Unit = Unit.PERCENT,
) -> Finding:
    return Finding(
        rule=rule.rule_id,
        severity=rule.severity,
        inci=tuple(names),
        what=f"{what}.",
        source=rule.citation,
        limit=limit,
        found=found,
        why=rule.why,
        action=rule.action,
        unit=unit,
    )


def _unpreserved(present: Sequence[Ingredient], rules: Rules) -> Iterable[Finding]:
    water = _water(present)
    if water < WATER_TO_KEEP_PERCENT or any(i.is_a("preservative") for i in present):
        return
    if water_activity(present) < KEEPING_ACTIVITY or _alcohol_share(present) >= KEEPING_ALCOHOL_SHARE:
        return
    helpers = [i.name for i in present if i.is_a("helper_antimicrobial")]
    names = [i.name for i in present if i.is_water]
    what = f"{plain(water)} % water and no preservative"
    if helpers:
        yield _say(rules["P07"], (*names, *helpers), f"{what} of the list, only {', '.join(helpers)}")
    else:
        yield _say(rules["P01"], names, what, None, water)


def _unemulsified(present: Sequence[Ingredient], rule: TradeRule) -> Iterable[Finding]:
    oils = [i for i in present if is_oil(i)]
    dissolved = _alcohol_share(present) >= SOLVING_ALCOHOL_SHARE
    if _sum(oils) < OIL_TO_EMULSIFY_PERCENT or _water(present) < WATER_TO_EMULSIFY_PERCENT or dissolved:
        return
    if not any(is_emulsifier(i) for i in present):
        what = f"{plain(_sum(oils))} % oil phase in {plain(_water(present))} % water and no emulsifier"
        yield _say(rule, (i.name for i in oils), what)


def _too_hot(present: Iterable[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    for i in present:
        hottest = max((formula.temperatures_c[m] for m in i.materials if m in formula.temperatures_c), default=None)
        cap = i.facts.max_temp_c
        if hottest is not None and cap is not None and hottest > cap:
            what = f"{i.name} is heated to {plain(hottest)} °C and stands {plain(cap)} °C"
            yield _say(rule, (i.name,), what, cap, hottest, Unit.CELSIUS)


def _out_of_use(present: Iterable[Ingredient], rule: TradeRule) -> Iterable[Finding]:
    for i in present:
        high, low = i.facts.use_high, i.facts.use_low
        if high is not None and i.percent > high:
            yield _say(
                rule, (i.name,), f"{i.name} at {plain(i.percent)} %, usual up to {plain(high)} %", high, i.percent
            )
        elif low is not None and i.percent < low and i.is_a("preservative"):
            yield _say(rule, (i.name,), f"{i.name} at {plain(i.percent)} %, usual from {plain(low)} %", low, i.percent)


def _out_of_ph(present: Iterable[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    for i in present:
        limit = _overstepped(i, formula.ph)
        if limit is not None and formula.ph is not None:
            what = f"{i.name}: the product is at pH {plain(formula.ph)}, its range ends at {plain(limit)}"
            yield _say(rule, (i.name,), what, limit, formula.ph, Unit.PH)


def _overstepped(i: Ingredient, ph: Decimal | None) -> Decimal | None:
    if ph is None:
        return None
    if i.facts.ph_min is not None and ph < i.facts.ph_min:
        return i.facts.ph_min
    return i.facts.ph_max if i.facts.ph_max is not None and ph > i.facts.ph_max else None


def _gap(formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    if len(formula.joined_c) > 1:
        gap = max(formula.joined_c) - min(formula.joined_c)
        if gap > PHASE_GAP_C:
            yield _say(rule, (), f"The phases are {plain(gap)} °C apart", PHASE_GAP_C, gap, Unit.CELSIUS)


def _not_checked(present: Iterable[Ingredient], formula: FormulaFacts) -> tuple[str, ...]:
    bound = [i.name for i in present if i.facts.ph_min is not None or i.facts.ph_max is not None]
    if formula.ph is not None or not bound:
        return ()
    return (f"pH ranges of {', '.join(bound)}: no pH was given.",)
