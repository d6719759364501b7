"""A formula as the rules are asked about it: its materials, exposure, pH, kind of product, heat and order."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.reference.rulebook import in_inci, usual_blends
from app.science.formula import Formula
from app.science.rules.certificates import CertifiedDose, read_certificate
from app.science.rules.names import is_water
from app.science.rules.values import Exposure, FormulaFacts
from app.work.clock import today
from app.work.rules.product_kind import KindOfProduct, kind_of_product

# Phases at least this hot are taken to be joined hot; a cool-down phase goes in later, at its own temperature.
JOINED_HOT_C = Decimal(55)


@dataclass(frozen=True, slots=True)
class Question:
    """What the rules are asked: the facts, the words used of the product, where the pH is from, what is missing."""

    facts: FormulaFacts
    texts: tuple[str, ...]
    has_claims: bool
    ph_from: str
    missing: tuple[str, ...]
    kind: KindOfProduct
    certified: tuple[CertifiedDose, ...] = ()


def question(formula: Formula, predicted_ph: Decimal | None = None) -> Question:
    """Turn a formula into the question; the target pH goes before a predicted one."""
    target = formula.target_ph
    kind = kind_of_product(formula.product_kind, formula.product_type, formula.special_uses)
    exposure = formula.exposure if formula.exposure in set(Exposure) else Exposure.LEAVE_ON
    # The perfumes and oils whose certificates were entered, with their amounts.
    lines = (line for line in formula.lines if line.material.certificate)
    certified = tuple(CertifiedDose(x.name, x.percent, read_certificate(x.material.certificate)) for x in lines)
    # The hottest phase that each material is in, by its name.
    hottest: dict[str, Decimal] = {}
    for phase in formula.phases:
        heat = phase.temperature_c
        if heat is not None:
            hottest |= {line.name: max(heat, hottest.get(line.name, heat)) for line in phase.lines}
    facts = FormulaFacts(
        materials=in_inci(tuple(material for material in formula.dosed if material.parts)),
        exposure=Exposure(exposure),
        ph=predicted_ph if target is None else target,
        products=kind.words,
        on=today(),
        temperatures_c=hottest,
        order=tuple(dict.fromkeys(line.name for line in formula.lines if line.material.id)),
        joined_c=_joined_hot(formula),
        certified=frozenset(dose.name for dose in certified if kind.certificate_category in dose.limits),
    )
    texts = tuple(text for text in (formula.name, formula.product_type, formula.claims) if text.strip())
    missing = (*_missing(formula), *usual_blends(formula.dosed))
    claimed = bool(formula.claims.strip())
    predicted = "" if predicted_ph is None else "the predicted pH"
    ph_from = predicted if target is None else "the target pH"
    return Question(facts, texts, claimed, ph_from, missing, kind, certified)


def _joined_hot(formula: Formula) -> tuple[Decimal, ...]:
    """Return the temperatures of hot phases where one of them holds water, so that an emulsion is made of them."""
    hot = [phase for phase in formula.phases if (phase.temperature_c or Decimal(0)) >= JOINED_HOT_C]
    wet = (part for phase in hot for line in phase.lines if line.percent > 0 for part in line.parts)
    if not any(is_water(part.inci) for part in wet):
        return ()
    return tuple(phase.temperature_c for phase in hot if phase.temperature_c is not None)


def _missing(formula: Formula) -> Iterable[str]:
    """Name the lines that no rule can look at."""
    for line in formula.lines:
        short = (Decimal(100) - sum((part.percent for part in line.parts), Decimal(0))).normalize()
        if not line.material.id and line.name:
            yield f"{line.name[:80]}: not on the shelf, so no rule can look at it."
        elif line.material.id and not line.parts:
            yield f"{line.name}: it has no composition yet, so no rule can look at it."
        elif line.material.id and short > 0:
            yield f"{line.name}: {short:f} % of it is not named in its composition."
