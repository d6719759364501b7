"""Formulas judged by hand, and how well the rules agree: every duty at its strength, and no alarm beyond."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache

from app.reference.library import split_cell
from app.reference.product_kinds import words_for
from app.reference.rulebook import in_inci, rulebook
from app.reference.tables import decimal_or_none, read_table
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity

COLUMNS = ["id", "market", "exposure", "kind", "ph", "date", "formula", "expected", "also", "remark"]
JUDGED_ON = date(2026, 11, 25)


@dataclass(frozen=True, slots=True)
class Duty:
    """What an expert says of a formula: one of some severities, found by a pattern of rule, substance or words."""

    text: str
    ways: tuple[tuple[Severity, re.Pattern[str]], ...]

    def met_by(self, findings: Iterable[Finding]) -> tuple[list[Finding], bool]:
        """Return the findings that speak of it, and whether one of them has the strength asked for."""
        spoken = [(f, severity) for f in findings for severity, pattern in self.ways if pattern.search(words_in(f))]
        return [f for f, _ in spoken], any(f.severity == severity for f, severity in spoken)


@dataclass(frozen=True, slots=True)
class JudgedFormula:
    """A formula with the duties of an expert; ``also`` are further rules that may speak without being a false alarm."""

    id: str
    market: str
    facts: FormulaFacts
    duties: tuple[Duty, ...]
    also: tuple[re.Pattern[str], ...]


@dataclass(frozen=True, slots=True)
class Agreement:
    """How the rules did on one formula."""

    id: str
    right: int
    weak: tuple[str, ...]
    silent: tuple[str, ...]
    alarms: tuple[Finding, ...]


def words_in(finding: Finding) -> str:
    """Return all that a finding says in one line."""
    return " ".join((finding.rule, *finding.inci, finding.message))


@cache
def judged_formulas() -> tuple[JudgedFormula, ...]:
    """Return the judged formulas in the order of the table."""
    found = []
    for row in read_table("judged_formulas", COLUMNS):
        materials = []
        for text in split_cell(row["formula"]):  # ``Name 4.5`` or ``Name:perfume 4.5``
            name, _, percent = text.rpartition(" ")
            inci, _, kind = name.partition(":")
            part = Part(inci, Decimal(100), kind=PartKind(kind or "ingredient"))
            materials.append(DosedMaterial(inci, Decimal(percent), (part,)))
        facts = FormulaFacts(
            in_inci(materials),
            Exposure(row["exposure"]),
            decimal_or_none(row["ph"]),
            words_for(row["kind"]),
            on=date.fromisoformat(row["date"]) if row["date"] else JUDGED_ON,
        )
        duties = tuple(_duty(text) for text in split_cell(row["expected"]))
        also = tuple(re.compile(pattern) for pattern in split_cell(row["also"]))
        found.append(JudgedFormula(row["id"], row["market"], facts, duties, also))
    return tuple(found)


def _duty(text: str) -> Duty:
    """Read ``stop:pattern`` or ``stop:pattern|caution:pattern``; a number at the end is a whole number."""
    first, _, _ = text.partition(":")
    ways = []
    for way in text.split("|"):
        severity, found, pattern = way.partition(":")
        if not found:
            severity, pattern = first, severity
        ways.append((Severity(severity), re.compile(pattern + (r"(?!\d)" if pattern[-1].isdigit() else ""))))
    return Duty(text, tuple(ways))


def agreement(one: JudgedFormula) -> Agreement:
    """Return how the rules do on a judged formula."""
    findings = check_formula(one.facts, rulebook(one.market)).findings
    spoken: list[Finding] = []
    weak: list[str] = []
    silent: list[str] = []
    right = 0
    for duty in one.duties:
        found, strong = duty.met_by(findings)
        spoken += found
        right += strong
        if not strong:
            (weak if found else silent).append(duty.text)
    extra = (f for f in findings if f not in spoken and f.severity != Severity.NOTE)
    alarms = tuple(f for f in extra if not any(pattern.search(f.rule) for pattern in one.also))
    return Agreement(one.id, right, tuple(weak), tuple(silent), alarms)


@cache
def agreements() -> tuple[Agreement, ...]:
    """Return how the rules do on every judged formula, in the order of the table."""
    return tuple(agreement(one) for one in judged_formulas())
