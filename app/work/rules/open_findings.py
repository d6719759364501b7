"""The findings of a formula that nobody answered yet, for the head of the sheet that is taken to the bench."""

from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.rules.values import Severity
from app.store.workshop import the_workshop
from app.work.rules.answers import AnsweredFinding, read_answers
from app.work.rules.asking import question
from app.work.rules.checks import check
from app.work.rules.corrections import read_corrections
from app.work.rules.predicted_ph import predicted_ph


def open_findings(session: Session, formula: Formula) -> tuple[AnsweredFinding, ...]:
    """Return the stops and cautions of a formula that have no answer, by the tables and the law of today."""
    return open_findings_of(session, [formula])[0]


def open_findings_of(session: Session, formulas: Sequence[Formula]) -> list[tuple[AnsweredFinding, ...]]:
    """Return the same for several formulas that one page compares: what the maker corrected is read once."""
    home, own = the_workshop(session).jurisdiction.value, read_corrections(session)
    answers = {formula_id: read_answers(session, formula_id) for formula_id in {one.formula_id for one in formulas}}
    checked = (check(question(one, predicted_ph(one)), home, answers[one.formula_id], own) for one in formulas)
    return [checks.home.open("stop", "caution") for checks in checked]


def open_stops(session: Session, formula: Formula) -> tuple[AnsweredFinding, ...]:
    """Return the stops of a formula that no person has answered: they follow the product until one does."""
    return tuple(one for one in open_findings(session, formula) if one.finding.severity == Severity.STOP)
