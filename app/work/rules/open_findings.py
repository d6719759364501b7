"""The findings of a formula that nobody answered yet, for the head of the sheet that is taken to the bench."""

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.rules.values import Severity
from app.work.rules.answers import AnsweredFinding
from app.work.rules.formula_checks import check_formula, read_given_answers


def open_findings(session: Session, formula: Formula) -> tuple[AnsweredFinding, ...]:
    """Return the stops and cautions of a formula that have no answer, by the tables of today."""
    return check_formula(formula, read_given_answers(session, formula.formula_id)).home.open("stop", "caution")


def open_stops(session: Session, formula: Formula) -> tuple[AnsweredFinding, ...]:
    """Return the stops of a formula that no person has answered: they follow the product until one does."""
    return tuple(one for one in open_findings(session, formula) if one.finding.severity == Severity.STOP)
