"""The kind of product that a formula gives away where nobody named one: what dyes hair is a hair dye."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.rules.selectors import Ingredients, Selector
from app.science.rules.values import Exposure, FormulaFacts


@dataclass(frozen=True, slots=True)
class ImpliedKind:
    """A kind with its words, and what gives it away: substances from an amount on (% w/w), an exposure, a pH range."""

    kind: str
    words: frozenset[str]
    exposure: Exposure | None
    selector: Selector
    at_least: Decimal
    ph_above: Decimal | None
    ph_up_to: Decimal | None


def with_implied_kind(
    formula: FormulaFacts, present: Ingredients, kinds: Iterable[ImpliedKind]
) -> tuple[FormulaFacts, tuple[str, ...]]:
    """Return the formula with the kind it gives away, and the line that says so; as it was where a kind is known."""
    if formula.products:
        return formula, ()
    for kind in kinds:
        hits = kind.selector.hits(present)
        if hits and sum((i.percent for i in hits), Decimal(0)) >= kind.at_least and _setting_fits(kind, formula):
            names = ", ".join(i.name for i in hits)
            line = f"The kind of product was not given; it was taken for {kind.kind} because of {names}."
            return replace(formula, products=kind.words), (line,)
    return formula, ()


def _setting_fits(kind: ImpliedKind, formula: FormulaFacts) -> bool:
    if kind.exposure not in (None, formula.exposure):
        return False
    if kind.ph_above is None and kind.ph_up_to is None:
        return True
    if formula.ph is None:
        return False
    above = kind.ph_above is None or formula.ph > kind.ph_above
    return above and (kind.ph_up_to is None or formula.ph <= kind.ph_up_to)
