"""What the rules of a jurisdiction say of a formula."""

from typing import Annotated, Literal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Day, Figure, Number, RequestModel
from app.commands.computations._materials import Materials, dosed
from app.commands.computations._product_kind import ProductKind
from app.reference.product_kinds import words_for
from app.reference.rulebook import in_inci, rulebook, usual_blends
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, FormulaFacts, Severity
from app.work.clock import today

SUMMARY = "Legal limits, allergens, compatibility and label statements for a formula, and what could not be checked."


class Request(RequestModel):
    """A formula with its materials, the market, the exposure and, where known, pH, kind of product and measurements.

    ``date`` is the day the product is placed on the market, today where it is not given; ``formaldehyde_percent`` is
    what a laboratory measured in the product, % w/w.
    """

    jurisdiction: Literal["EU", "US"]
    exposure: Exposure
    materials: Materials
    ph: Annotated[Number, Field(ge=-1, le=15)] | None = None
    product_kind: ProductKind | None = None
    date: Day | None = None
    formaldehyde_percent: Annotated[Number, Field(ge=0, le=100)] | None = None


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
    """Findings, the gravest first, and what could not be checked: of this formula, then of every formula."""

    findings: list[FindingItem]
    not_checked: list[str]


def compute(request: Request) -> Answer:
    """Check a formula by every rule of the jurisdiction."""
    book = rulebook(request.jurisdiction)
    materials = dosed(request.materials)
    formula = FormulaFacts(
        in_inci(materials),
        request.exposure,
        request.ph,
        words_for(request.product_kind or ""),
        on=request.date or today(),
        formaldehyde_percent=request.formaldehyde_percent,
    )
    verdict = check_formula(formula, book)
    open_lines = [*usual_blends(materials), *verdict.not_checked, *book.gaps]
    return Answer(
        findings=[
            FindingItem(
                rule=f.rule,
                severity=f.severity,
                inci=list(f.inci),
                message=f.message,
                limit=f.limit,
                found=f.found,
                source=str(f.source),
            )
            for f in verdict.findings
        ],
        not_checked=open_lines,
    )
