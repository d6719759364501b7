"""What common essential oils usually hold: an answer where no allergen sheet is there, and always marked as such."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.composition import AllergenShare, DosedMaterial, Part
from app.science.rules.limits import LimitIndex, check_limits
from app.science.rules.names import plain, rule_key
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Finding, FormulaFacts, Severity, Source, Verdict


@dataclass(frozen=True, slots=True)
class Constituent:
    """A constituent with its usual content, % w/w of the oil."""

    name: str
    low: Decimal
    typical: Decimal
    high: Decimal
    source: Source


class ConstituentIndex:
    """The constituents by oil."""

    def __init__(self, oils: Mapping[str, tuple[Constituent, ...]]) -> None:
        self.oils = oils
        self._by_key = {rule_key(name): found for name, found in oils.items()}

    def of(self, oil: str) -> tuple[Constituent, ...]:
        """Return what an oil usually holds; empty where nothing is known of it."""
        return self._by_key.get(rule_key(oil), ())


def likely_allergens(
    part: Part, percent: Decimal, threshold: Decimal, index: ConstituentIndex, is_allergen: Iterable[str] = ()
) -> tuple[Constituent, ...]:
    """Return the constituents of an unsheeted oil that are likely above a threshold at the low end of their range.

    ``percent`` is the oil and ``threshold`` the amount of the constituent, both % w/w of the finished product;
    ``is_allergen`` are keys of the names that have to be declared.
    """
    if part.allergens:
        return ()
    keys = frozenset(is_allergen)
    found = (c for c in index.of(part.inci) if rule_key(c.name) in keys)
    return tuple(c for c in found if percent * max(c.low, c.typical / 2) / 100 > threshold)


def likely_words(found: Sequence[Constituent]) -> str:
    """Return the constituents with their ranges, as a sentence names them."""
    return ", ".join(f"{c.name} ({plain(c.low)} to {plain(c.high)} %)" for c in found)


def check_likely(
    formula: FormulaFacts, present: Sequence[Ingredient], limits: LimitIndex, index: ConstituentIndex
) -> Verdict:
    """Judge the limits once more with the usual content of oils that have no sheet; what is over then is a caution."""
    if not any(index.of(i.name) for i in present):
        return Verdict()
    guessed = tuple(_with_usual_content(material, index) for material in formula.materials)
    if guessed == formula.materials:
        return Verdict()
    known = {f.rule for f in check_limits(formula, limits).findings}
    oils = {c.name: i.name for i in present for c in index.of(i.name)}
    found = check_limits(replace(formula, materials=guessed), limits).findings
    return Verdict(
        tuple(
            _guess(f, oils)
            for f in found
            if f.rule not in known and f.severity != Severity.NOTE and f.limit is not None and set(f.inci) & oils.keys()
        )
    )


def _with_usual_content(material: DosedMaterial, index: ConstituentIndex) -> DosedMaterial:
    parts = tuple(
        replace(part, allergens=tuple(AllergenShare(c.name, c.typical) for c in index.of(part.inci)))
        if not part.allergens
        else part
        for part in material.parts
    )
    return replace(material, parts=parts) if parts != material.parts else material


def _guess(found: Finding, oils: Mapping[str, str]) -> Finding:
    names = dict.fromkeys(oils[name] for name in found.inci if name in oils)
    what = f"By the usual content of {', '.join(names)}, which has no sheet here: {found.what}"
    return replace(found, severity=Severity.CAUTION, what=what, action="ask the supplier for the sheet of the lot")
