"""The checks of a formula, draft or version, for the page and the paper; and answering a finding."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.rules.table_age import TableAge
from app.store.engine import Store
from app.store.errors import NotFound
from app.work.clock import today
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.formulas.versions import read_version
from app.work.rules.answers import AnsweredFinding, write_answer
from app.work.rules.checks import FormulaChecks
from app.work.rules.formula_checks import check_formula, checks_of, read_given_answers
from app.work.rules.tables import old_law

GONE = "This finding is no longer there as it was: the formula was changed. Look at what is found now."


@dataclass(frozen=True, slots=True)
class FormulaName:
    """Which formula a sheet is of; ``version_number`` and ``version_id`` are None for the draft."""

    formula_id: int
    code: str
    name: str
    version_number: int | None = None
    version_id: int | None = None


@dataclass(frozen=True, slots=True)
class ChecksSheet:
    """The checks of one formula; ``checks`` is None while nothing is in it, ``old`` lists tables that have aged."""

    formula: FormulaName
    checks: FormulaChecks | None
    old: tuple[TableAge, ...]
    checked_on: date


def checks_sheet(session: Session, formula_id: int, version_id: int | None = None) -> ChecksSheet:
    """Check the draft of a formula, or a version as its content and its materials were.

    Raises:
        NotFound: when there is no such formula or version.
    """
    if version_id is None:
        current = open_draft(session, formula_id)
        name = FormulaName(formula_id, current.code, current.name)
        checks = checks_of(results_of(session, current), read_given_answers(session, formula_id))
    else:
        formula = read_version(session, version_id)
        if formula.formula_id != formula_id:
            raise NotFound("There is no such version of this formula.")
        name = FormulaName(formula_id, formula.code, formula.name, formula.version_number, version_id)
        checks = check_formula(formula, read_given_answers(session, formula_id))
    day = today()
    return ChecksSheet(name, checks, old_law(day), day)


def answer_finding(
    store: Store, formula_id: int, version_id: int | None, mark: str, reason: str, who: str
) -> AnsweredFinding:
    """Write down why a finding is acceptable, or what was done about it.

    Raises:
        Invalid: at ``finding``, when it is not found any more.
        Faults: at ``reason`` and ``who``.
        NotFound: when there is no such formula or version.
    """
    with store.transaction() as session:
        checks = checks_sheet(session, formula_id, version_id).checks
        found = checks.find(mark) if checks else None
        if found is None:
            raise Invalid("finding", GONE)
        write_answer(session, formula_id, found, reason, who)
        return found
