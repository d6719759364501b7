"""Answers to findings: a written reason that stands while what was found stays the same."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.numbers import plain_or_empty
from app.science.rules.names import rule_key
from app.science.rules.values import Finding
from app.store.rulebook import FindingAnswer
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import LongText, Name

LONGEST_REASON = 2000


@dataclass(frozen=True, slots=True)
class GivenAnswer:
    """A reason with who gave it and when."""

    reason: str
    who: str
    at: datetime


Answers = Mapping[tuple[str, str], GivenAnswer]


@dataclass(frozen=True, slots=True)
class AnsweredFinding:
    """A finding with what tells it from any other, and the answer that was given to just this."""

    finding: Finding
    fingerprint: str
    answer: GivenAnswer | None = None

    @property
    def key(self) -> str:
        """A short name for elements of a page, unlike any other on it."""
        return self.fingerprint[:12]


def fingerprint(finding: Finding) -> str:
    """Return what tells a finding from others: rule, weight, substances, amount and limit; its words without an amount.

    Another amount, another limit or another substance makes another finding, which is asked about again.
    """
    amounts = tuple(plain_or_empty(value) for value in (finding.found, finding.limit))
    parts = (finding.rule, str(finding.severity), sorted(map(rule_key, finding.inci)), *amounts)
    spoken = finding.what if finding.found is None else ""
    return hashlib.blake2b(repr((parts, spoken)).encode("utf-8", "surrogatepass"), digest_size=16).hexdigest()


def attach_answers(findings: Iterable[Finding], answers: Answers) -> tuple[AnsweredFinding, ...]:
    """Return each finding beside the answer that was given to it."""
    marked = ((finding, fingerprint(finding)) for finding in findings)
    return tuple(AnsweredFinding(finding, mark, answers.get((finding.rule, mark))) for finding, mark in marked)


def read_answers(session: Session, formula_id: int) -> Answers:
    """Read every answer that was given for a formula, by rule and fingerprint."""
    rows = session.scalars(select(FindingAnswer).where(FindingAnswer.formula_id == formula_id))
    return {(row.rule, row.fingerprint): GivenAnswer(row.reason, row.answered_by, row.answered_at) for row in rows}


class AnswerForm(Form):
    """Why a finding is left as it is."""

    reason = LongText("Reason", "Enter the reason in a sentence or two.", longest=LONGEST_REASON)
    who = Name("By", "Enter who gives this answer.")


def write_answer(session: Session, formula_id: int, found: AnsweredFinding, reason: str, who: str) -> None:
    """Write a reason down; an earlier one of the same finding stays below it, with its name and day.

    Raises:
        Faults: at ``reason`` and ``who``, with everything that is wrong.
    """
    form = AnswerForm(reason, who).checked(session)
    finding = found.finding
    mine = (FindingAnswer.rule == finding.rule, FindingAnswer.fingerprint == found.fingerprint)
    row = session.scalars(select(FindingAnswer).where(FindingAnswer.formula_id == formula_id, *mine)).first()
    fresh = {"rule": finding.rule, "fingerprint": found.fingerprint, "finding": finding.message, "reason": ""}
    row = row or FindingAnswer(formula_id=formula_id, **fresh)
    row.reason = _with_earlier(form.reason, row)
    row.answered_by, row.answered_at = form.who, now()
    session.add(row)


def _with_earlier(reason: str, row: FindingAnswer) -> str:
    if not row.reason or row.reason.partition("\n\nBefore that, ")[0] == reason:
        return row.reason or reason
    return f"{reason}\n\nBefore that, {row.answered_by} on {row.answered_at.astimezone():%Y-%m-%d}: {row.reason}"
