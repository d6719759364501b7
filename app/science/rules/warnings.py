"""Statements a label must or should carry, each with its reason: the legal wording where the law fixes one."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.science.rules.limit_present import Present, is_open, own_rows
from app.science.rules.names import names_in
from app.science.rules.scope import closeness, fits
from app.science.rules.selectors import Ingredients, Selector
from app.science.rules.values import Finding, FormulaFacts, LimitRule, Severity, Source

# Cells of the legal tables that point elsewhere instead of giving a wording.
POINTERS = ("see ", "name from", "use the FDA")
# Wordings of the guidance on alpha hydroxy acids are asked for in the United States only (FDA guidance, 2005).
US_ONLY = "Sunburn Alert"


@dataclass(frozen=True, slots=True)
class WarningRule:
    """A statement with what calls for it: substances above an amount (% w/w), an exposure, a kind of product."""

    rule_id: str
    jurisdictions: frozenset[str]
    selector: Selector | None
    above: Decimal
    exposure: str
    scope: frozenset[str]
    is_legal: bool
    text: str
    reason: str
    source: Source


@dataclass(frozen=True, slots=True)
class LabelStatement:
    """A statement for the label; ``is_legal`` tells that the wording is fixed by the rule named as source."""

    text: str
    reason: str
    is_legal: bool
    source: Source
    rule: str
    inci: tuple[str, ...] = ()


def legal_statements(
    present: Iterable[Present], formula: FormulaFacts, jurisdiction: str
) -> tuple[LabelStatement, ...]:
    """Collect the wordings that the legal limits ask for, by what the formula brings."""
    kept: dict[str, LabelStatement] = {}
    for statement in (_statement(p, rule) for p in present for rule in _asking(p, formula, jurisdiction)):
        kept.setdefault(statement.text, statement)
    return tuple(kept.values())


def _asking(present: Present, formula: FormulaFacts, jurisdiction: str) -> Iterable[LimitRule]:
    for rule in own_rows(present, (rule for rule in present.rules if rule.label_wording)):
        applies = is_open(rule, formula) and (rule.general or closeness(rule.products, formula.products) > 0)
        applies = applies and rule.in_force(formula.on) and fits(rule.label_for, formula.products)
        wording = rule.label_wording and not rule.label_wording.startswith(POINTERS)
        abroad = rule.label_wording.startswith(US_ONLY) and jurisdiction != "US"
        enough = rule.label_above is None or present.total > rule.label_above
        if applies and wording and enough and not abroad:
            yield rule


def _statement(present: Present, rule: LimitRule) -> LabelStatement:
    names = names_in(present.amounts)
    only = f"; {rule.remark}" if rule.label_for and rule.remark else ""
    reason = f"contains {', '.join(names)} ({rule.legal_reference}){only}"
    return LabelStatement(
        rule.label_wording, reason, rule.rule_type != "guidance", rule.citation, rule.legal_reference, names
    )


def other_statements(
    rules: Iterable[WarningRule], present: Ingredients, formula: FormulaFacts, jurisdiction: str
) -> tuple[LabelStatement, ...]:
    """Collect the statements that kinds of product and trade knowledge ask for."""
    due = (rule for rule in rules if jurisdiction in rule.jurisdictions and _product_fits(rule, formula))
    pairs = ((rule, _called(rule, present)) for rule in due)
    return tuple(
        LabelStatement(rule.text, rule.reason, rule.is_legal, rule.source, rule.rule_id, names)
        for rule, names in pairs
        if names is not None
    )


def _product_fits(rule: WarningRule, formula: FormulaFacts) -> bool:
    for_kind = not rule.scope or closeness(rule.scope, formula.products) > 0
    return for_kind and rule.exposure in ("", formula.exposure)


def _called(rule: WarningRule, present: Ingredients) -> tuple[str, ...] | None:
    """Name what calls for a statement; None when nothing does."""
    if rule.selector is None:
        return ()
    hits = rule.selector.hits(present)
    total = sum((i.percent for i in hits), Decimal(0))
    return tuple(i.name for i in hits) if hits and total > rule.above else None


def as_finding(statement: LabelStatement) -> Finding:
    """Tell of a statement as a note."""
    must = "must" if statement.is_legal else "should"
    return Finding(
        rule=statement.rule,
        severity=Severity.NOTE,
        inci=statement.inci,
        what=f'The label {must} say: "{statement.text}"',
        source=statement.source,
        why=statement.reason,
        quote=statement.text if statement.is_legal else "",
    )
