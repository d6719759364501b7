"""Trade rules on what gets along with what: pairs, pH, amounts, heat. The rules are data; this reads them."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.science.rules.selectors import Ingredient, Ingredients, Selector
from app.science.rules.values import Finding, FormulaFacts, LimitUnit, Severity, Source, Verdict, joined

SEVERITIES = {"block": Severity.STOP, "warn": Severity.CAUTION, "info": Severity.NOTE}


@dataclass(frozen=True, slots=True)
class TradeRule:
    """What a rule says: why it matters, what to do, who says so."""

    rule_id: str
    severity: Severity
    title: str
    why: str
    action: str
    source: str
    source_status: str

    @property
    def citation(self) -> Source:
        """The source with how far it was checked."""
        return Source(self.source, self.source_status)


@dataclass(frozen=True, slots=True)
class Condition:
    """When a rule applies; amounts are % w/w of the finished formula, summed over the side they stand for.

    ``ph_low`` and ``ph_high`` bound the pH at which side ``a`` is at ease; with ``only_below_ph`` the pair matters only
    in products more acid than that. ``without`` silences the rule by its presence, ``milder`` takes a step off it.
    """

    rule: TradeRule
    a: Selector
    b: Selector | None = None
    without: Selector | None = None
    milder: Selector | None = None
    a_above: Decimal | None = None
    a_to: Decimal | None = None
    b_above: Decimal | None = None
    ph_low: Decimal | None = None
    ph_high: Decimal | None = None
    only_below_ph: Decimal | None = None
    temp_above_c: Decimal | None = None
    water_above: Decimal | None = None
    exposure: str = ""
    order: str = ""


@dataclass(frozen=True, slots=True)
class _Match:
    condition: Condition
    a: tuple[Ingredient, ...]
    b: tuple[Ingredient, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(i.name for i in (*self.a, *self.b)))

    @property
    def materials(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(m for i in (*self.a, *self.b) for m in i.materials))


def check_compatibility(formula: FormulaFacts, conditions: Iterable[Condition], present: Ingredients) -> Verdict:
    """Return which trade rules the formula runs into, and which ask for a pH or a temperature nobody gave."""
    matches = (match for c in conditions if (match := _match(c, present, formula)) is not None)
    return joined(_judge(match, present, formula) for match in matches)


def _match(c: Condition, present: Ingredients, formula: FormulaFacts) -> _Match | None:
    a = tuple(c.a.hits(present))
    if not a:
        return None
    b = tuple(i for i in c.b.hits(present) if i not in a) if c.b else ()
    enough = (c.a_above is None or _total(a) > c.a_above) and (c.b_above is None or _total(b) > c.b_above)
    met = (b or not c.b) and enough and (c.a_to is None or _total(a) <= c.a_to)
    return _Match(c, a, b) if met and _setting_fits(c, present, formula) else None


def _total(side: Iterable[Ingredient]) -> Decimal:
    return sum((i.percent for i in side), Decimal(0))


def _setting_fits(c: Condition, present: Ingredients, formula: FormulaFacts) -> bool:
    if c.exposure and c.exposure != formula.exposure:
        return False
    if c.without and c.without.hits(present):
        return False
    return c.water_above is None or sum((i.water for i in present), Decimal(0)) > c.water_above


def _judge(match: _Match, present: Ingredients, formula: FormulaFacts) -> Verdict:
    c = match.condition
    if c.temp_above_c is not None:
        return _judge_heat(match, formula)
    if c.order:  # side b is to come in after side a
        place = {material: n for n, material in enumerate(formula.order)}
        first = [place[m] for i in match.a for m in i.materials if m in place]
        second = [place[m] for i in match.b for m in i.materials if m in place]
        if not first or not second:
            words = f"{', '.join(match.names)}: {match.condition.rule.title}; no order of addition was given."
            return Verdict(not_checked=(words,))
        return Verdict((_finding(match, Ingredients(())),)) if min(second) < max(first) else Verdict()
    if c.ph_low is None and c.ph_high is None and c.only_below_ph is None:
        return Verdict((_finding(match, present),))
    if formula.ph is None:
        return Verdict(not_checked=(f"{', '.join(match.names)}: {c.rule.title} ({c.rule.rule_id}); no pH was given.",))
    limit = _ph_limit(c, formula.ph)
    return Verdict((_finding(match, present, limit, formula.ph),)) if limit is not None else Verdict()


def _ph_limit(c: Condition, ph: Decimal) -> Decimal | None:
    """Return the bound that the pH oversteps; None when it is at ease, or when the pair does not matter at this pH."""
    if c.only_below_ph is not None:
        return c.only_below_ph if ph < c.only_below_ph else None
    if c.ph_low is not None and ph < c.ph_low:
        return c.ph_low
    return c.ph_high if c.ph_high is not None and ph > c.ph_high else None


def _judge_heat(match: _Match, formula: FormulaFacts) -> Verdict:
    c = match.condition
    hottest = [formula.temperatures_c[m] for m in match.materials if m in formula.temperatures_c]
    if not hottest:
        words = f"{', '.join(match.names)}: {c.rule.title} ({c.rule.rule_id}); no temperature was given."
        return Verdict(not_checked=(words,))
    if c.temp_above_c is None or max(hottest) <= c.temp_above_c:
        return Verdict()
    return Verdict((_finding(match, Ingredients(()), c.temp_above_c, max(hottest), LimitUnit.CELSIUS),))


def _finding(
    match: _Match,
    present: Ingredients,
    limit: Decimal | None = None,
    found: Decimal | None = None,
    unit: LimitUnit = LimitUnit.PH,
) -> Finding:
    c, rule = match.condition, match.condition.rule
    at = f" ({unit.write(found)}; the bound is {unit.write(limit)})" if limit is not None and found is not None else ""
    if limit is None and (cap := c.a_above or c.b_above) is not None:
        limit, found, unit = cap, _total(match.a if c.a_above is not None else match.b), LimitUnit.PERCENT
    milder = c.milder is not None and bool(c.milder.hits(present))
    return Finding(
        rule=rule.rule_id,
        severity=(Severity.CAUTION if rule.severity == Severity.STOP else Severity.NOTE) if milder else rule.severity,
        inci=match.names,
        what=f"{', '.join(match.names)}: {rule.title}{at}.",
        source=rule.citation,
        limit=limit,
        found=found,
        materials=match.materials,
        why=rule.why,
        action=rule.action,
        unit=unit,
    )
