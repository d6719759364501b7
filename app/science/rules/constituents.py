"""What common essential oils usually hold: an answer where no allergen sheet is there, and always marked as such."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.composition import AllergenShare, DosedMaterial
from app.science.numbers import plain
from app.science.rules.allergens import AllergenIndex
from app.science.rules.limits import LimitIndex, check_limits
from app.science.rules.names import rule_key
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity, Source, Verdict


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


@dataclass(frozen=True, slots=True)
class LikelyAllergens:
    """Allergens that an oil without a sheet most likely brings above the threshold."""

    oil: str
    material: str
    found: tuple[Constituent, ...]


def likely_allergens(
    materials: Iterable[DosedMaterial], exposure: Exposure, allergens: AllergenIndex, index: ConstituentIndex
) -> tuple[LikelyAllergens, ...]:
    """Return what oils without a sheet most likely bring: at half their typical content still above the threshold."""
    answers = []
    for material in materials:
        for part in material.parts:
            percent = material.percent * part.percent / 100
            found = tuple(
                c
                for c in (() if part.allergens else index.of(part.inci))
                if (entry := allergens.find(c.name)) is not None
                and percent * max(c.low, c.typical / 2) / 100 > entry.thresholds[exposure]
            )
            if found:
                answers.append(LikelyAllergens(part.inci, material.name, found))
    return tuple(answers)


def check_likely_allergens(formula: FormulaFacts, allergens: AllergenIndex, index: ConstituentIndex) -> Verdict:
    """Return which allergens the label most likely has to name for oils that have no sheet."""
    return Verdict(
        tuple(
            Finding(
                rule="EU 1223/2009 Annex III (fragrance allergens)",
                severity=Severity.NOTE,
                inci=(one.oil, *(c.name for c in one.found)),
                what=f"{one.oil}: no allergen sheet; it is likely to carry {likely_words(one.found)}, to be named too.",
                source=one.found[0].source,
                materials=(one.material,),
                action="ask the supplier for the sheet of the lot",
            )
            for one in likely_allergens(formula.materials, formula.exposure, allergens, index)
        )
    )


def likely_words(found: Sequence[Constituent]) -> str:
    """Return the constituents with their ranges, as a sentence names them."""
    return ", ".join(f"{c.name} ({plain(c.low)} to {plain(c.high)} %)" for c in found)


# From this share on an oil is taken for its constituent: wintergreen for methyl salicylate.
NEARLY_ALL_PERCENT = Decimal(90)


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
    sure = {c.name for i in present for c in index.of(i.name) if c.low >= NEARLY_ALL_PERCENT}
    found = []
    for f in check_limits(replace(formula, materials=guessed), limits).findings:
        names = dict.fromkeys(oils[name] for name in f.inci if name in oils)
        if names and f.rule not in known and f.severity != Severity.NOTE and f.limit is not None:
            what = f"By the usual content of {', '.join(names)}, which has no sheet here: {f.what}"
            severity = f.severity if sure & set(f.inci) else Severity.CAUTION
            found.append(replace(f, severity=severity, what=what, action="ask the supplier for the sheet of the lot"))
    return Verdict(tuple(found))


def _with_usual_content(material: DosedMaterial, index: ConstituentIndex) -> DosedMaterial:
    parts = tuple(
        replace(part, allergens=tuple(AllergenShare(c.name, c.typical) for c in index.of(part.inci)))
        if not part.allergens
        else part
        for part in material.parts
    )
    return replace(material, parts=parts) if parts != material.parts else material
