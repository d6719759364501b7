"""What a formula comes to, and what another set of amounts would change of it: total, pH, cost, list and findings."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.acid_base.prediction import predict
from app.science.acid_base.values import Range
from app.science.errors import Invalid
from app.science.formula import HUNDRED, Formula
from app.science.rules.values import Finding
from app.science.weighing import weigh
from app.work.formulas.declaring import Declared, declared_formula
from app.work.formulas.draft import Draft
from app.work.formulas.results import PageCost, page_cost
from app.work.ph.mixture import mixture_of
from app.work.rules.formula_checks import GivenAnswers, check_formula


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one formula comes to.

    ``total`` is % w/w; ``ph`` None without a prediction; ``cost`` None while the total is not 100 or without a batch
    size, in ``currency``; ``names`` the ingredient list in order; ``findings`` every open finding.
    """

    total: Decimal
    ph: Range | None
    cost: PageCost | None
    currency: str
    weigh_g: Decimal | None
    names: tuple[str, ...]
    findings: tuple[Finding, ...]


def outcome(formula: Formula, given: GivenAnswers, listed: Declared | None = None) -> Outcome:
    """Return what a formula comes to, as far as it is known.

    Args:
        formula: the formula; its percentages need not make 100.
        given: answers to findings, and corrections of shipped values.
        listed: the ingredient list that was kept with it; worked out by the tables of today where there is none.
    """
    total = sum((line.percent for line in formula.lines), Decimal(0))
    weighing = weigh(formula) if formula.size and total == HUNDRED else None
    listed = listed or declared_formula(formula, formula.jurisdiction)
    found = check_formula(formula, given).home if formula.lines else None
    return Outcome(
        total=total,
        ph=_ph(formula),
        cost=page_cost(formula, weighing) if weighing else None,
        currency=formula.rates.currency,
        weigh_g=weighing.total_g if weighing else None,
        names=tuple(entry.name for entry in listed.entries),
        findings=tuple(one.finding for one in found.findings if not one.answer) if found else (),
    )


def _ph(formula: Formula) -> Range | None:
    try:
        return predict(mixture_of(formula.dosed)[0]).ph
    except Invalid:
        return None


@dataclass(frozen=True, slots=True)
class ListDifference:
    """What differs between two outcomes of a list.

    ``came`` is what only the right has, ``went`` what only the left has, ``changed`` how the right says what both have.
    """

    came: tuple[str, ...]
    went: tuple[str, ...]
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OutcomePair:
    """Two outcomes side by side, with what differs in the ingredient list and in the findings."""

    left: Outcome
    right: Outcome
    names: ListDifference
    order_differs: bool
    findings: ListDifference


def side_by_side(left: Outcome, right: Outcome) -> OutcomePair:
    """Return two outcomes with their differences."""
    common = set(left.names) & set(right.names)
    order = [name for name in left.names if name in common] != [name for name in right.names if name in common]
    # What rules find on one side only, and what they find on both with other figures.
    before, after = (
        {(one.rule, one.inci, one.severity): one.what for one in side} for side in (left.findings, right.findings)
    )
    return OutcomePair(
        left,
        right,
        _apart(left.names, right.names),
        order,
        ListDifference(
            came=tuple(what for key, what in after.items() if key not in before),
            went=tuple(what for key, what in before.items() if key not in after),
            changed=tuple(what for key, what in after.items() if before.get(key, what) != what),
        ),
    )


def _apart(left: Sequence[str], right: Sequence[str]) -> ListDifference:
    return ListDifference(tuple(x for x in right if x not in left), tuple(x for x in left if x not in right))


def with_amounts(draft: Draft, amounts: dict[str, str]) -> Draft:
    """Return a draft with other amounts in some of its lines, by line; ``q.s.`` and sums are read as anywhere."""
    lines = (
        replace(line, amount=amounts[line.id], qs=line.qs and not amounts[line.id].strip())
        if line.id in amounts
        else line
        for line in draft.lines
    )
    return replace(draft, lines=tuple(lines))
