"""The checks under a formula while it is typed."""

from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from app.work.formulas.results import Results
from app.work.formulas.sections import Section, add
from app.work.rules.answers import Answers, read_answers
from app.work.rules.asking import question
from app.work.rules.checks import FormulaChecks, check
from app.work.rules.corrections import Correction, read_corrections
from app.work.rules.predicted_ph import predicted_ph

NAME = "checks"


@dataclass(frozen=True, slots=True)
class Loaded:
    """What the maker said before: answers to findings of this formula, and corrections of shipped values."""

    answers: Answers = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()


def load(session: Session, formula_id: int) -> Loaded:
    """Read the answers of a formula and every correction."""
    return Loaded(read_answers(session, formula_id), read_corrections(session))


def checks_of(results: Results) -> FormulaChecks | None:
    """Check a draft; None while there is no line in it."""
    if not results.reading.lines:
        return None
    loaded = results.loaded.get(NAME) or Loaded()
    asked = question(results.reading, predicted_ph(results.reading))
    return check(asked, results.ground.workshop.jurisdiction.value, loaded.answers, loaded.corrections)


add(Section(NAME, "Checks", "rules/_section.html", checks_of, load))
