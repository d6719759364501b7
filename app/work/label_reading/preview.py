"""What a plan would be as a formula, before anything is written: the same results as on the page of a formula."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.reference.materials import material as library_material
from app.reference.rulebook import in_inci, rulebook
from app.science.acid_base.wording import in_words
from app.science.formula import Material
from app.science.inference.compare_lists import Comparison
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity
from app.work.formulas.context import read_context
from app.work.formulas.declaring import Declared
from app.work.formulas.draft import Draft
from app.work.formulas.pinned_materials import read_shelf
from app.work.formulas.results import Results, results
from app.work.label_reading.choosing import OWN, Choices, OwnShelf, StartPlan, make_plan
from app.work.label_reading.drafting import draft_of
from app.work.label_reading.estimate import LabelEstimate
from app.work.label_reading.estimate_formula import look_at
from app.work.label_reading.list_comparison import compared
from app.work.ph.report import PhReport
from app.work.pricing import in_currency


@dataclass(frozen=True, slots=True)
class Preview:
    """A plan as a draft with its results, and in words its pH, preservation, cost and what the rules find."""

    plan: StartPlan
    draft: Draft
    results: Results
    declared: Declared | None
    comparison: Comparison
    ph: str
    preservation: str
    findings: tuple[Finding, ...]
    cost: str


@dataclass(frozen=True, slots=True)
class Change:
    """One thing the choices change: before and after, in words."""

    what: str
    before: str
    after: str


def preview(
    session: Session, sheet: LabelEstimate, own: OwnShelf, choices: Choices, taught: Mapping[str, str]
) -> Preview:
    """Work out what a plan would be as a formula; nothing is written.

    Raises:
        Invalid: when no material holds any of the substances that are left.
    """
    plan = make_plan(sheet, own, choices)
    ids: dict[str, int] = {}
    library: dict[int, Material] = {}
    for place, line in enumerate(plan.cover.lines):
        key = line.material.id
        ids[key] = int(key.removeprefix(OWN)) if key.startswith(OWN) else -1 - place  # not on the shelf yet
        m = library_material(key) if ids[key] < 0 else None
        if m is not None:
            library[ids[key]] = Material(
                ids[key], m.name, m.parts, phase_hint=m.phase_hint, use_low=m.use_low, use_high=m.use_high
            )
    draft = draft_of(sheet, plan, ids, "Preview")
    shelf = {**read_shelf(session, {n for n in ids.values() if n > 0}), **library}
    found = results(0, draft, shelf, read_context(session))
    look = look_at(found.formula)
    declared = next((d for d in found.declarations if d.jurisdiction == sheet.jurisdiction), None)
    return Preview(
        plan=plan,
        draft=draft,
        results=found,
        declared=declared,
        comparison=compared(sheet.names, declared, taught),
        ph=ph_words(look),
        preservation=preservation_words(look),
        findings=_findings(found, look, sheet),
        cost=cost_words(found),
    )


def ph_words(found: PhReport | None) -> str:
    """Say the pH of a formula, or why it is not known."""
    if found is None or found.prediction is None:
        return f"not known: {found.why_not if found else 'there is no water to speak of'}"
    return found.prediction.withheld or f"about {in_words(found.prediction.ph)}"


def preservation_words(found: PhReport | None) -> str:
    """Return what each preserving substance can do at the predicted pH."""
    if found is None:
        return "not asked: there is no water to speak of"
    verdicts = [f"{one.inci}: {one.verdict.value}" for one in found.preservation.systems]
    each = "; ".join(verdicts) or "no preserving substance of the shipped table"
    return f"{found.preservation.status.value} ({each})"


def _findings(found: Results, look: PhReport | None, sheet: LabelEstimate) -> tuple[Finding, ...]:
    dosed = tuple(material for material in found.formula.dosed if material.parts)
    ph = Decimal(f"{look.prediction.ph.value:.2f}") if look and look.prediction else None
    facts = FormulaFacts(in_inci(dosed), Exposure(found.draft.exposure), ph)
    verdict = check_formula(facts, rulebook(sheet.jurisdiction))
    return tuple(f for f in verdict.findings if f.severity is not Severity.NOTE)


def cost_words(found: Results) -> str:
    """Return what the materials of a kilogram cost, as far as prices are known."""
    if found.cost is None:
        return "not known"
    unpriced = found.cost.unpriced
    lines = [line for line in found.formula.lines if line.percent > 0]
    if len(unpriced) >= len(lines):
        return "not known: no material has a price yet"
    shop = found.context.workshop
    words = f"{in_currency(found.cost.materials_per_kg, shop.currency, shop.locale)} for 1 kg"
    if not unpriced:
        return words
    return f"at least {words}; {len(unpriced)} of {len(lines)} materials have no price yet"


def changes(before: Preview, after: Preview) -> tuple[Change, ...]:
    """Return what the choices change beside the plan without them: pH, limits, declaration, cost."""
    texts = [
        ("Predicted pH", before.ph, after.ph),
        ("Preservation", before.preservation, after.preservation),
        ("Limits and cautions", _finding_words(before, after), _finding_words(after, before)),
        ("Declaration", *_difference(before.declared, after.declared)),
        ("Cost of the materials", before.cost, after.cost),
    ]
    return tuple(Change(*row) for row in texts)


def _finding_words(one: Preview, other: Preview) -> str:
    """Return what the rules find of one plan and not of the other."""
    there = {f.message for f in other.findings}
    only = dict.fromkeys(f.message for f in one.findings if f.message not in there)
    return " ".join(only) or "nothing that the shipped rules find of this one alone"


def _difference(before: Declared | None, after: Declared | None) -> tuple[str, str]:
    """Say which names only one of two declarations has, in its order; the whole text where the names are the same."""
    names = [[e.name for e in one.entries] if one else [] for one in (before, after)]
    if set(names[0]) == set(names[1]):
        return ", ".join(names[0]), ", ".join(names[1])
    only = [[n for n in mine if n not in other] for mine, other in (names, names[::-1])]
    gone, came = (", ".join(part) or "nothing else" for part in only)
    return f"has {gone}", f"has {came}"
