"""What the rules of a jurisdiction say of a formula."""

from typing import Annotated, Literal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Number, RequestModel
from app.commands.computations._materials import Materials, dosed
from app.reference.rulebook import in_inci, rulebook
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity

SUMMARY = "Legal limits, allergens, compatibility and label statements for a formula, and what could not be checked."


class Request(RequestModel):
    """A formula with its materials, the market, the exposure and, where known, the pH of the product."""

    jurisdiction: Literal["EU", "US"]
    exposure: Exposure
    materials: Materials
    ph: Annotated[Number, Field(ge=-1, le=15)] | None = None


class FindingItem(AnswerModel):
    """One finding; limit and found are % w/w expressed as the rule does, or pH where the rule speaks of pH."""

    rule: str
    severity: Severity
    inci: list[str]
    message: str
    limit: Figure | None = None
    found: Figure | None = None
    source: str


class Answer(AnswerModel):
    """Findings, the gravest first, and what could not be checked."""

    findings: list[FindingItem]
    not_checked: list[str]


def compute(request: Request) -> Answer:
    """Check a formula by every rule of the jurisdiction."""
    formula = FormulaFacts(in_inci(dosed(request.materials)), request.exposure, request.ph)
    verdict = check_formula(formula, rulebook(request.jurisdiction))
    return Answer(findings=[_item(f) for f in verdict.findings], not_checked=list(verdict.not_checked))


def _item(f: Finding) -> FindingItem:
    return FindingItem(
        rule=f.rule,
        severity=f.severity,
        inci=list(f.inci),
        message=f.message,
        limit=f.limit,
        found=f.found,
        source=str(f.source),
    )
