"""Every rule at once: the one question a formula is asked while it is typed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from app.science.rules.allergens import AllergenIndex, check_allergens
from app.science.rules.colourants import ColourIndex, check_colourants
from app.science.rules.compatibility import Condition, TradeRule, check_compatibility
from app.science.rules.coverage import uncovered
from app.science.rules.formaldehyde import Releaser, check_formaldehyde
from app.science.rules.isothiazolinones import check_isothiazolinones
from app.science.rules.limits import LimitIndex, check_limits, present_subjects
from app.science.rules.process import check_process
from app.science.rules.selectors import Classes, Ingredient, ingredients
from app.science.rules.values import Facts, Finding, FormulaFacts, LimitRule, Severity, Verdict
from app.science.rules.warnings import Statement, WarningRule, as_finding, legal_statements, other_statements

ORDER = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Every table a check of one jurisdiction needs, made ready once; ``facts_for`` looks substances up by name."""

    jurisdiction: str
    limits: LimitIndex
    rules: tuple[LimitRule, ...]
    releasers: tuple[Releaser, ...]
    allergens: AllergenIndex
    colourants: ColourIndex
    conditions: tuple[Condition, ...]
    classes: Classes
    trade: Mapping[str, TradeRule]
    warnings: tuple[WarningRule, ...]
    facts_for: Callable[[tuple[str, ...]], Facts]


def check_formula(formula: FormulaFacts, book: Rulebook) -> Verdict:
    """Ask a formula every rule of a jurisdiction; the gravest findings come first.

    No finding does not mean that a product is safe or lawful: ``not_checked`` says what could not be looked at, and
    the local code and a qualified assessor decide.
    """
    facts = book.facts_for(names_of(formula))
    present = ingredients(formula.materials, book.classes, facts)
    verdict = (
        _by_law(formula, present, book)
        + check_compatibility(formula, book.conditions, book.classes, facts)
        + check_process(formula, book.trade, book.classes, facts)
    )
    notes = tuple(as_finding(s) for s in label_statements(formula, book))
    return Verdict(_sorted((*_single(verdict.findings), *notes)), verdict.not_checked)


def _by_law(formula: FormulaFacts, present: tuple[Ingredient, ...], book: Rulebook) -> Verdict:
    gaps = uncovered(
        present, lambda n: bool(book.limits.touched(n, None)), lambda n: book.colourants.find(n) is not None
    )
    return (
        check_limits(formula, book.limits)
        + check_formaldehyde(formula, book.rules, book.releasers)
        + check_isothiazolinones(formula, book.rules)
        + check_allergens(formula, book.allergens)
        + check_colourants(present, formula, book.colourants, book.jurisdiction)
        + Verdict(not_checked=gaps if book.jurisdiction == "EU" else ())
    )


def names_of(formula: FormulaFacts) -> tuple[str, ...]:
    """List the names of every part of every material, once each."""
    return tuple(dict.fromkeys(part.inci for material in formula.materials for part in material.parts))


def label_statements(formula: FormulaFacts, book: Rulebook) -> tuple[Statement, ...]:
    """Collect what the label must or should say, with the reason for each statement."""
    present = ingredients(formula.materials, book.classes, book.facts_for(names_of(formula)))
    legal = legal_statements(present_subjects(formula, book.limits), formula, book.jurisdiction)
    return legal + other_statements(book.warnings, present, formula, book.jurisdiction)


def _single(findings: tuple[Finding, ...]) -> list[Finding]:
    """Drop the general pH finding of a substance that a rule of its own already speaks of."""
    named = {name for f in findings if f.rule.startswith("C") and f.found is not None for name in f.inci}
    return [f for f in findings if f.rule != "P05" or not named & set(f.inci)]


def _sorted(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda f: ORDER[f.severity]))
