"""What the law of one jurisdiction allows of each material or substance in a product of some words."""

from collections.abc import Iterable, Mapping
from datetime import date

from app.reference.inference_caps import usual_exposure
from app.reference.product_kinds import propose_kind, words_for
from app.reference.rulebook import JURISDICTIONS, in_inci, rulebook
from app.science.composition import DosedMaterial
from app.science.rules.check import check_formula
from app.science.rules.values import FormulaFacts, LimitUnit, Severity


def lawful_shares(
    materials: Iterable[DosedMaterial], product_type: str, jurisdiction: str, on: date | None
) -> Mapping[str, float]:
    """Return for each material over a legal maximum, by its name, the part of its dose that the maximum leaves (0..1).

    The same check as that of a formula decides, by the law of the day ``on``, without one by the newest in the tables;
    what the law bars altogether (a maximum of 0) is left to it.
    """
    if jurisdiction.upper() not in JURISDICTIONS:
        return {}
    exposure, products = usual_exposure(product_type), words_for(propose_kind(product_type))
    verdict = check_formula(
        FormulaFacts(in_inci(materials), exposure, products=products, on=on), rulebook(jurisdiction.upper())
    )
    shares: dict[str, float] = {}
    for finding in verdict.findings:
        limit, found = finding.limit, finding.found
        if (
            finding.severity is Severity.STOP
            and finding.unit is LimitUnit.PERCENT
            and limit
            and found
            and found > limit
        ):
            for name in finding.materials:
                shares[name] = min(shares.get(name, 1.0), float(limit / found))
    return shares
