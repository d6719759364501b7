"""Answers to findings: a written reason that stands while what was found stays the same."""

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import figures
from app.science.rules.names import plain, rule_key
from app.science.rules.values import Finding
from app.store.rulebook import FindingAnswer
from app.work.clock import now
from app.work.typed import Reader, name, words

LONGEST_REASON = 2000
_LONG = re.compile(r"\d+\.\d{6,}")


def _shorter(number: re.Match[str]) -> str:
    """Write an amount that came out of a product of many places with the figures that tell something."""
    return figures(Decimal(number[0]), 5)


@dataclass(frozen=True, slots=True)
class Answer:
    """A reason with who gave it and when."""

    reason: str
    who: str
    at: datetime


Answers = Mapping[tuple[str, str], Answer]


@dataclass(frozen=True, slots=True)
class Told:
    """A finding with what tells it from any other, and the answer that was given to just this."""

    finding: Finding
    fingerprint: str
    answer: Answer | None = None

    @property
    def key(self) -> str:
        """A short name for elements of a page, unlike any other on it."""
        return self.fingerprint[:12]

    @property
    def said(self) -> str:
        """What was found, without why it matters and what to do."""
        return _LONG.sub(_shorter, self.finding.message.partition(" Why: ")[0])

    @property
    def why(self) -> str:
        """Why it matters and what to do, where the rule says so."""
        why, _, deed = self.finding.message.partition(" Why: ")[2].partition(" What to do: ")
        return f"{why[:1].upper()}{why[1:]} To do: {deed}" if deed else why

    @property
    def unit(self) -> str:
        """The unit of the limit and of what was found: ``%``, ``°C``, or ``pH``."""
        found = "" if self.finding.found is None else plain(self.finding.found)
        signs = {"pH": f"pH {found}", "°C": f"{found} °C"}
        return next((unit for unit, sign in signs.items() if sign in self.finding.message), "%")


def fingerprint(finding: Finding) -> str:
    """Tell a finding by its rule, weight, substances, amount found and limit; its words count where it has no amount.

    Another amount, another limit or another substance makes another finding, which is asked about again.
    """
    amounts = tuple("" if value is None else plain(value) for value in (finding.found, finding.limit))
    told = (finding.rule, str(finding.severity), sorted(map(rule_key, finding.inci)), *amounts)
    spoken = finding.message if finding.found is None else ""
    return hashlib.blake2b(repr((told, spoken)).encode("utf-8", "surrogatepass"), digest_size=16).hexdigest()


def tell(findings: Iterable[Finding], answers: Answers) -> tuple[Told, ...]:
    """Put each finding beside the answer that was given to it."""
    marked = ((finding, fingerprint(finding)) for finding in findings)
    return tuple(Told(finding, mark, answers.get((finding.rule, mark))) for finding, mark in marked)


def read_answers(session: Session, formula_id: int) -> Answers:
    """Read every answer that was given for a formula, by rule and fingerprint."""
    rows = session.scalars(select(FindingAnswer).where(FindingAnswer.formula_id == formula_id))
    return {(row.rule, row.fingerprint): Answer(row.reason, row.answered_by, row.answered_at) for row in rows}


def write_answer(session: Session, formula_id: int, told: Told, reason: str, who: str) -> None:
    """Write a reason down; an earlier one of the same finding stays below it, with its name and day.

    Raises:
        Faults: at ``reason`` and ``who``, with everything that is wrong.
    """
    reader = Reader()
    clean = reader.take(_reason, reason)
    person = reader.take(name, who, "who", "Write who gives this answer.")
    reader.finish()
    row = _row(session, formula_id, told)
    row.reason = _with_earlier(clean or "", row)
    row.answered_by, row.answered_at = person or "", now()
    session.add(row)


def _reason(text: str) -> str:
    found = words(text, "reason", longest=LONGEST_REASON)
    if not found:
        raise Invalid("reason", "Write the reason in a sentence or two.")
    return found


def _row(session: Session, formula_id: int, told: Told) -> FindingAnswer:
    finding = told.finding
    mine = (FindingAnswer.rule == finding.rule, FindingAnswer.fingerprint == told.fingerprint)
    row = session.scalars(select(FindingAnswer).where(FindingAnswer.formula_id == formula_id, *mine)).first()
    fresh = {"rule": finding.rule, "fingerprint": told.fingerprint, "finding": finding.message, "reason": ""}
    return row or FindingAnswer(formula_id=formula_id, **fresh)


def _with_earlier(reason: str, row: FindingAnswer) -> str:
    if not row.reason or row.reason.partition("\n\nBefore that, ")[0] == reason:
        return row.reason or reason
    return f"{reason}\n\nBefore that, {row.answered_by} on {row.answered_at.astimezone():%Y-%m-%d}: {row.reason}"
