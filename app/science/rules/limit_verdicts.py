"""What one subject of the legal limits says of what a formula brings of it."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from app.science.numbers import plain
from app.science.rules.limit_present import (
    Present,
    amount_words,
    applicable_limits,
    brought_words,
    cap,
    choice_words,
    day_words,
    exceeds,
    is_elsewhere,
    is_open,
    is_rare,
    names_of,
    own_rows,
    where_words,
)
from app.science.rules.limit_uses import forbidden_use, judge_ph, unknown_uses
from app.science.rules.scope import closeness, fits
from app.science.rules.values import Exposure, Finding, FormulaFacts, LimitRule, Purpose, Severity, Verdict

# What begins later than this is good to know; sooner, it bears on what is made now.
FAR_AHEAD_DAYS = 550
# Share of alcohol, % w/w, from which a product can be an alcoholic fragrance; common practice.
FRAGRANCE_ALCOHOL_PERCENT = Decimal(30)
ALCOHOLS = frozenset({"ALCOHOL", "ALCOHOL DENAT.", "ALCOHOL DENAT", "SD ALCOHOL 40-B", "ETHANOL", "DENATURED ALCOHOL"})


def judge(present: Present, formula: FormulaFacts, others: Sequence[Present]) -> Verdict:
    """Judge one subject; ``others`` are the subjects for the other purpose that may cover the same substances.

    Rows in force on the day of the question are judged first; rows that come later warn of the day they begin.
    """
    names = {a.name for a in present.amounts}
    over_elsewhere = any(_exceeds_all(o, formula) for o in others if names & {a.name for a in o.amounts})
    shared = [o for o in others if names <= {a.name for a in o.amounts}]
    if over_elsewhere and not any(_exceeds_all(o, formula) for o in shared):
        shared = []
    now = [r for r in present.rules if r.in_force(formula.on)]
    active = tuple(
        r
        for r in now
        if is_open(r, formula)
        and ("(nano)" not in r.inci_name or any("(nano)" in amount.name.lower() for amount in present.amounts))
    )
    findings: list[Finding] = [*_prohibited(present, now, formula), *_condition_notes(present, active)]
    findings += [*_over(present, now, formula, active, shared), *forbidden_use(present, formula, active)]
    found = Verdict(tuple(findings), unknown_uses(present, formula, active)) + judge_ph(present, formula, active)
    later = [r for r in present.rules if r.to_come(formula.on)]
    if later and not any(f.severity == Severity.STOP for f in found.findings):
        found += _to_come(present, later, formula)
    return found


def _to_come(present: Present, rules: Sequence[LimitRule], formula: FormulaFacts) -> Verdict:
    """Return from what day on a product like this may not be placed on the market any more."""
    active = tuple(r for r in rules if is_open(r, formula))
    findings = [*_prohibited(present, rules, formula), *_over(present, rules, formula, active, ())]
    begin = {r.legal_reference: r for r in rules}
    dated = []
    for found in (f for f in findings if f.severity != Severity.NOTE):
        rule = begin[found.rule]
        what = f"From {day_words(rule.applies_from)} this may not be placed on the market: {found.what}"
        if rule.sell_off_until:
            what += f" What is on the market by then may be sold until {day_words(rule.sell_off_until)}."
        days = (rule.applies_from - formula.on).days if rule.applies_from and formula.on else 0
        severity = Severity.NOTE if days > FAR_AHEAD_DAYS else Severity.CAUTION
        dated.append(present.finding(rule, severity, what, found.limit, found.found))
    return Verdict(tuple(dated))


def _prohibited(present: Present, rules: Iterable[LimitRule], formula: FormulaFacts) -> Iterable[Finding]:
    for rule in rules:
        if rule.rule_type == "prohibited" and not is_elsewhere(rule, formula):
            sure = not rule.uncertain and (rule.general or fits(rule.products, formula.products))
            what = f"{names_of(present)}: {rule.condition} ({where_words(rule)}). {brought_words(present)}"
            severity = Severity.STOP if sure else Severity.CAUTION
            yield present.finding(rule, severity, what, Decimal(0), present.total, action=rule.remark)


def _condition_notes(present: Present, active: Iterable[LimitRule]) -> Iterable[Finding]:
    """Pass on what notes, guidance and conditions without a figure say."""
    for rule in active:
        figure = rule.max_percent is not None or rule.ph_max is not None or rule.ph_min is not None
        spoken = rule.rule_type in ("note", "guidance") or (
            rule.rule_type == "condition" and not rule.supplier_data and rule.purpose != Purpose.OTHER
        )
        if spoken and not figure and rule.general and rule.condition:
            yield present.finding(rule, Severity.NOTE, f"{names_of(present)}: {rule.condition}")


def _over(
    present: Present,
    rules: Sequence[LimitRule],
    formula: FormulaFacts,
    active: Sequence[LimitRule],
    others: Sequence[Present],
) -> Iterable[Finding]:
    sure, maybe = applicable_limits(active, formula)
    if any(rule.general for rule in rules if rule.rule_type == "condition") and not sure:
        return ()
    if sure:
        return _over_sure(present, formula, sure, maybe, others)
    if maybe:
        return _over_maybe(present, maybe, others, formula)
    return () if present.purpose == Purpose.OTHER and others else _outside(present, rules, formula, others)


def _over_sure(
    present: Present,
    formula: FormulaFacts,
    sure: Sequence[LimitRule],
    maybe: Sequence[LimitRule],
    others: Sequence[Present],
) -> Iterable[Finding]:
    rule = min(own_rows(present, sure), key=cap)
    if present.total <= cap(rule):
        over = [r for r in maybe if exceeds(present, r) and not is_rare(r)]
        lines = [f"if the product is for {where_words(r)}, the limit is {plain(cap(r))} %." for r in over]
        return [
            present.finding(r, Severity.NOTE, f"{amount_words(present, r)}: {line}", r.max_percent, present.total)
            for r, line in zip(over, lines, strict=True)
        ]
    allowed, certain = _other_purpose(present, others, formula)
    if certain and allowed is not None:
        return [_not_to_preserve(present, rule, allowed)]
    if present.purpose == Purpose.PRESERVATIVE and _judged_elsewhere(others, formula):
        return ()
    excuse = allowed or next((r for r in maybe if not exceeds(present, r) and _plausible(r, formula)), None)
    return [_exceeded(present, rule, excuse)]


def _judged_elsewhere(others: Iterable[Present], formula: FormulaFacts) -> bool:
    """Return whether the amount is over the limit for the other purpose too, which is then the one to name."""
    for other in others:
        sure, _ = applicable_limits([r for r in other.rules if is_open(r, formula)], formula)
        if sure and other.total > min(cap(r) for r in own_rows(other, sure)):
            return True
    return False


def _plausible(rule: LimitRule, formula: FormulaFacts) -> bool:
    """Return whether a product with this formula can be of the kind the rule is for."""
    words = {word.strip() for alternative in rule.products for word in alternative.split("+")}
    if words & {"alcoholic fragrance", "fragrance", "fine fragrance", "eau de toilette"}:
        return _alcohol(formula) >= FRAGRANCE_ALCOHOL_PERCENT
    return not is_rare(rule) or bool(words & {"anti-dandruff", "foot"})


def _alcohol(formula: FormulaFacts) -> Decimal:
    shares = (
        m.percent * p.percent / 100 for m in formula.materials for p in m.parts if p.inci.upper().strip() in ALCOHOLS
    )
    return sum(shares, Decimal(0))


def _other_purpose(present: Present, others: Iterable[Present], formula: FormulaFacts) -> tuple[LimitRule | None, bool]:
    """Find a rule for a purpose other than preserving that allows the amount, and whether it certainly applies.

    Without a known kind of product a rinse-off hair product is taken for granted, a leave-on one is not.
    """
    if present.purpose != Purpose.PRESERVATIVE or any(_exceeds_all(other, formula) for other in others):
        return None, False
    for other in others:
        active = [r for r in other.rules if is_open(r, formula) and r.in_force(formula.on)]
        free = next((r for r in active if r.max_percent is None and r.rule_type == "condition"), None)
        if free is not None:
            return free, "fragrance" in formula.products or _alcohol(formula) >= FRAGRANCE_ALCOHOL_PERCENT
        sure, maybe = applicable_limits(active, formula)
        within = [r for r in sure if not exceeds(other, r)]
        if within and len(within) == len(sure):
            return within[0], True
        likely = next((r for r in maybe if not exceeds(other, r) and _plausible(r, formula)), None)
        if likely is not None:
            return likely, formula.exposure == Exposure.RINSE_OFF
    return None, False


def _exceeds_all(other: Present, formula: FormulaFacts) -> bool:
    sure, maybe = applicable_limits([r for r in other.rules if is_open(r, formula)], formula)
    rules = sure or [r for r in maybe if _plausible(r, formula)]
    return bool(rules) and all(exceeds(other, r) for r in rules)


def _not_to_preserve(present: Present, rule: LimitRule, allowed: LimitRule) -> Finding:
    what = (
        f"{amount_words(present, rule)}: more than the {plain(cap(rule))} % of a preservative "
        f"({rule.legal_reference}); allowed for another purpose by {allowed.legal_reference} ({where_words(allowed)})."
    )
    return present.finding(allowed, Severity.NOTE, what, allowed.max_percent, present.total)


def _exceeded(present: Present, rule: LimitRule, excuse: LimitRule | None) -> Finding:
    over = f"over the limit of {plain(cap(rule))} % for {where_words(rule)}"
    what = f"{amount_words(present, rule)}, {over}. {brought_words(present)}"
    if rule.condition:
        what += f" The rule: {rule.condition}."
    guidance = rule.rule_type == "guidance" or rule.uncertain
    if excuse is not None:
        top = f", {plain(cap(excuse))} %" if excuse.max_percent is not None else ""
        what += f" Allowed only as {excuse.legal_reference} has it: {where_words(excuse)}{top}."
    severity = Severity.CAUTION if guidance or excuse is not None else Severity.STOP
    return present.finding(rule, severity, what, rule.max_percent, present.total)


def _over_maybe(
    present: Present, maybe: Sequence[LimitRule], others: Sequence[Present], formula: FormulaFacts
) -> Iterable[Finding]:
    """Judge a substance that is limited only in kinds of product that nobody named."""
    over = [rule for rule in maybe if exceeds(present, rule)]
    excuse, certain = _other_purpose(present, others, formula)
    if len(over) == len(maybe):
        strictest = max(own_rows(present, over), key=cap)
        if certain and excuse is not None:
            return [_not_to_preserve(present, strictest, excuse)]
        return [_exceeded(present, strictest, excuse)] if strictest.only_in_scope or not is_rare(strictest) else ()
    asked_already = present.purpose == Purpose.OTHER and others
    if not maybe[0].only_in_scope or asked_already:
        return ()
    strictest = min(over, key=cap) if over else maybe[0]
    what = (
        f"{amount_words(present, strictest)}: allowed only in {choice_words(maybe)}; the kind of product was not given."
    )
    return [present.finding(strictest, Severity.CAUTION, what, strictest.max_percent, present.total)]


def _outside(
    present: Present, rules: Sequence[LimitRule], formula: FormulaFacts, others: Sequence[Present]
) -> Iterable[Finding]:
    """Say that a substance is used in an exposure, or a kind of product, that no rule allows."""
    fenced = [rule for rule in rules if rule.only_in_scope and rule.rule_type in ("max", "condition")]
    if not fenced or any(
        is_open(rule, formula) and (rule.general or closeness(rule.products, formula.products) > 0) for rule in fenced
    ):
        return ()
    allowed, certain = _other_purpose(present, others, formula)
    if certain and allowed is not None:
        return [_not_to_preserve(present, fenced[0], allowed)]
    kind = formula.exposure if not formula.products else "a product of this kind"
    where = f"a {kind} product" if not formula.products else kind
    what = f"{amount_words(present, fenced[0])} in {where}: allowed only in {choice_words(fenced)}."
    sure = bool(formula.products) or all(formula.exposure not in rule.exposures for rule in fenced)
    severity = Severity.STOP if sure else Severity.CAUTION
    return [present.finding(fenced[0], severity, what, Decimal(0), present.total)]
