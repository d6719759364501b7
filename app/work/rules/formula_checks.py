"""The checks of a formula under the law it is made for, by the tables of today and what the maker put right in them."""

from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.work.formulas.results import Results
from app.work.rules.answers import Answers, read_answers
from app.work.rules.checks import FormulaChecks, check
from app.work.rules.corrections import Correction, read_corrections
from app.work.rules.predicted_ph import predicted_ph
from app.work.rules.question import question


@dataclass(frozen=True, slots=True)
class GivenAnswers:
    """What the maker said before: answers to findings of this formula, and corrections of shipped values."""

    answers: Answers = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()


def read_given_answers(session: Session, formula_id: int) -> GivenAnswers:
    """Read the answers of a formula and every correction."""
    return GivenAnswers(read_answers(session, formula_id), read_corrections(session))


def check_formula(formula: Formula, given: GivenAnswers) -> FormulaChecks:
    """Check a formula, draft or version."""
    asked = question(formula, predicted_ph(formula))
    return check(asked, formula.jurisdiction.value, given.answers, given.corrections)


def checks_of(results: Results, given: GivenAnswers) -> FormulaChecks | None:
    """Check a draft; None while there is no line in it."""
    return check_formula(results.formula, given) if results.lines else None
