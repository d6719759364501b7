"""Every rule at once: the one question a formula is asked while it is typed."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.rules.allergens import AllergenIndex, check_allergens
from app.science.rules.colourants import ColourIndex, check_colourants
from app.science.rules.compatibility import Condition, TradeRule, check_compatibility
from app.science.rules.constituents import ConstituentIndex, check_likely, check_likely_allergens
from app.science.rules.coverage import uncovered
from app.science.rules.formaldehyde import Releaser, check_formaldehyde
from app.science.rules.hair_dyes import HairDyeIndex, check_hair_dyes, hair_dye_statements
from app.science.rules.implied import ImpliedKind, with_implied_kind
from app.science.rules.isothiazolinones import check_isothiazolinones
from app.science.rules.limits import LimitIndex, check_limits, present_subjects
from app.science.rules.process import Judge, check_process
from app.science.rules.product_rules import (
    ProductFigures,
    ProductRule,
    check_product_rules,
    free_alkali,
    phototoxic_sum,
)
from app.science.rules.prohibited import ProhibitedIndex, check_prohibited
from app.science.rules.selectors import Classes, Ingredients, ingredients
from app.science.rules.values import Facts, Finding, FormulaFacts, LimitRule, LimitUnit, Severity, Verdict
from app.science.rules.warnings import LabelStatement, WarningRule, as_finding, legal_statements, other_statements

PH_HAZARDS = frozenset({"H01", "H02", "H03", "H04", "H05", "H06"})
ORDER = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}
MOST_NEAREST = 300  # unknown names, as many as a formula has lines, that the nearest known one is looked for


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
    prohibited: ProhibitedIndex
    hair_dyes: HairDyeIndex
    product_rules: tuple[ProductRule, ...]
    phototoxic: Mapping[str, Decimal]
    preservation: Judge
    is_known: Callable[[str], bool]
    nearest: Callable[[str], str]
    constituents: ConstituentIndex
    implied: tuple[ImpliedKind, ...]
    gaps: tuple[str, ...]


def check_formula(formula: FormulaFacts, book: Rulebook) -> Verdict:
    """Ask a formula every rule of a jurisdiction; the gravest findings come first.

    No finding does not mean that a product is safe or lawful: ``not_checked`` says what could not be looked at, and
    the local code and a qualified assessor decide.
    """
    facts = book.facts_for(names_of(formula))
    present = ingredients(formula.materials, book.classes, facts)
    formula, taken_for = with_implied_kind(formula, present, book.implied)
    alkali, bases = free_alkali(present)
    total, parts = phototoxic_sum(present, book.phototoxic)
    water = sum((i.water for i in present), Decimal(0))
    verdict = (
        check_product_rules(
            formula, present, book.product_rules, book.jurisdiction, ProductFigures(water, alkali, total, parts, bases)
        )
        + _by_law(formula, present, book)
        + check_compatibility(formula, book.conditions, present)
        + check_process(formula, book.trade, present, book.preservation)
        + Verdict(not_checked=(*taken_for, *_unknown_names(formula, book)))
    )
    notes = tuple(as_finding(s) for s in label_statements(formula, book, present))
    # The general pH finding of a substance goes where a rule of its own, or a graver one, already speaks.
    said = {name for f in verdict.findings if f.rule.startswith("C") and f.unit == LimitUnit.PH for name in f.inci}
    idle = {name for f in verdict.findings if f.rule == "P01" for name in f.inci}
    hazard = {f.rule for f in verdict.findings if f.rule in PH_HAZARDS}
    kept = [f for f in verdict.findings if f.rule != "P05" or not (hazard or (said | idle) & set(f.inci))]
    kept = [f for f in kept if f.rule != "C21" or not idle & set(f.inci)]
    once = _said_once(list({(f.severity, f.inci, f.what): f for f in reversed(kept)}.values())[::-1])
    return Verdict(tuple(sorted((*once, *notes), key=lambda f: ORDER[f.severity])), verdict.not_checked)


def _said_once(findings: Sequence[Finding]) -> Iterable[Finding]:
    """Leave one stop of a rule on a substance: a use that is barred says more than its maximum, two tables say it once.

    Maxima of one rule in different measures (as it is, as what it sets free) stay both.
    """
    barred = {(f.rule, f.inci) for f in findings if f.severity is Severity.STOP and f.limit is None}
    seen = set()
    for found in findings:
        figures = (found.rule, found.inci, found.limit, found.found, found.unit)
        moot = found.limit and found.unit is LimitUnit.PERCENT and (found.rule, found.inci) in barred
        if found.severity is Severity.STOP:
            if found.limit is not None and (moot or figures in seen):
                continue
            seen.add(figures)
        yield found


def _unknown_names(formula: FormulaFacts, book: Rulebook) -> Iterable[str]:
    """Name what no table knows, with the nearest name that one does: it was looked at by no rule."""
    unknown = [name for name in names_of(formula) if not book.is_known(name)]
    for place, name in enumerate(unknown):
        near = book.nearest(name) if place < MOST_NEAREST else ""
        yield f"{name}: no table here knows this name, so no rule looked at it.{f' Is it {near}?' if near else ''}"


def _by_law(formula: FormulaFacts, present: Ingredients, book: Rulebook) -> Verdict:
    gaps = uncovered(
        present, lambda n: bool(book.limits.touched(n, None)), lambda n: book.colourants.find(n) is not None
    )
    if book.jurisdiction == "EU":
        ruled = frozenset(i.key for i in present if book.limits.touched(i.name, None) or book.hair_dyes.find(i.name))
        annexes = check_prohibited(present, formula, book.prohibited, ruled)
        annexes += check_hair_dyes(present, formula, book.hair_dyes)
    else:
        annexes = Verdict()
    return (
        annexes
        + check_limits(formula, book.limits)
        + check_likely(formula, present, book.limits, book.constituents)
        + check_formaldehyde(formula, book.rules, book.releasers)
        + check_isothiazolinones(formula, book.rules)
        + check_allergens(formula, book.allergens)
        + check_likely_allergens(formula, book.allergens, book.constituents)
        + check_colourants(present, formula, book.colourants, book.jurisdiction)
        + Verdict(not_checked=gaps if book.jurisdiction == "EU" else ())
    )


def names_of(formula: FormulaFacts) -> tuple[str, ...]:
    """Return the names of every part of every material, once each."""
    return tuple(dict.fromkeys(part.inci for material in formula.materials for part in material.parts))


def label_statements(
    formula: FormulaFacts, book: Rulebook, known: Ingredients | None = None
) -> tuple[LabelStatement, ...]:
    """Collect what the label must or should say, with the reason for each statement."""
    present = known or ingredients(formula.materials, book.classes, book.facts_for(names_of(formula)))
    formula, _ = with_implied_kind(formula, present, book.implied)
    legal = legal_statements(present_subjects(formula, book.limits), formula, book.jurisdiction)
    if book.jurisdiction == "EU":
        legal += hair_dye_statements(present, formula, book.hair_dyes)
    return legal + other_statements(book.warnings, present, formula, book.jurisdiction)
