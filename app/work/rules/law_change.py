"""What a new table of law changes for the formulas of a workshop, before it is taken."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.limits import limit_rows
from app.reference.rulebook import rulebook
from app.science.rules.check import Rulebook, check_formula
from app.science.rules.limits import LimitIndex
from app.science.rules.values import Finding, LimitRule
from app.store.formulas import FormulaRow
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.rules.predicted_ph import predicted_ph
from app.work.rules.question import question


@dataclass(frozen=True, slots=True)
class FormulaChange:
    """A formula that a new table judges otherwise: what is found then, and what is found no more."""

    code: str
    name: str
    found: tuple[str, ...]
    gone: tuple[str, ...]


def changes_for_formulas(session: Session, jurisdiction: str, rules: Sequence[LimitRule]) -> list[FormulaChange]:
    """Return the formulas whose findings differ under the new limits of a jurisdiction."""
    changes = []
    for market in ("EU", "US") if jurisdiction == "GUIDANCE" else (jurisdiction,):
        before = rulebook(market)
        after = with_limits(before, jurisdiction, rules)
        for formula_id in session.scalars(
            select(FormulaRow.id).where(FormulaRow.retired_at.is_(None)).order_by(FormulaRow.id)
        ):
            current = open_draft(session, formula_id)
            formula = results_of(session, current).formula
            facts = question(formula, predicted_ph(formula)).facts
            old, new = (check_formula(facts, book).findings for book in (before, after))
            found, gone = _only(new, old), _only(old, new)
            if found or gone:
                changes.append(FormulaChange(current.code, current.name, found, gone))
    return changes


def with_limits(book: Rulebook, jurisdiction: str, rules: Sequence[LimitRule]) -> Rulebook:
    """Return a rulebook in which a table of limits takes the place of the shipped one."""
    others = (r for r in limit_rows() if r.jurisdiction.upper() != jurisdiction and book.jurisdiction in r.applies_in)
    kept = tuple(r for r in (*rules, *others) if r.rule_type != "info" and book.jurisdiction in r.applies_in)
    return replace(book, rules=kept, limits=LimitIndex(kept))


def _only(findings: Sequence[Finding], other: Sequence[Finding]) -> tuple[str, ...]:
    known = {(f.rule, f.severity, f.what) for f in other}
    return tuple(f"{f.severity}: {f.what}" for f in findings if (f.rule, f.severity, f.what) not in known)
