"""What a declaration cannot know of perfume and essential oils: sheets that are missing, names that lead nowhere."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from app.science.composition import DosedMaterial
from app.science.rules.allergens import AllergenIndex, unsheeted
from app.science.rules.constituents import ConstituentIndex, likely_allergens, likely_words
from app.science.rules.names import rule_key
from app.science.rules.values import Exposure

SHEETED_KINDS = ("perfume", "essential oil")


def missing_sheets(
    materials: Sequence[DosedMaterial], exposure: Exposure, allergens: AllergenIndex, constituents: ConstituentIndex
) -> Mapping[str, str]:
    """Return, by key of the name, a sentence on each perfume, flavour or essential oil that has no allergen sheet.

    Where its usual constituents are known they are named with their ranges, marked as usual and not as found.
    """
    usual = {one.oil: one.found for one in likely_allergens(materials, exposure, allergens, constituents)}
    found = {}
    for kind, names in unsheeted(materials, allergens).items():
        for name in names if kind in SHEETED_KINDS else ():
            sentence = f"No allergen sheet for this {kind}, so allergens that have to be named may be missing."
            if name in usual:
                sentence += f" It is likely to carry {likely_words(usual[name])}, by its usual content."
            found[rule_key(name)] = f"{name}: {sentence} Ask the supplier for the sheet."
    return found


def allergen_name_notices(materials: Iterable[DosedMaterial], allergens: AllergenIndex) -> tuple[str, ...]:
    """Return a sentence on every name of a sheet that is no allergen of the list, or that stands there twice."""
    notices = []
    for material in materials:
        for part in material.parts:
            names = [share.inci for share in part.allergens]
            notices += [
                f"{material.name}: {name} on its sheet is no name of the list of allergens, so it is not declared."
                for name in dict.fromkeys(names)
                if allergens.find(name) is None
            ]
            spelled = {rule_key(name): name for name in reversed(names)}
            doubled = [spelled[key] for key, times in Counter(map(rule_key, names)).items() if times > 1]
            notices += [f"{material.name}: {name} stands twice on its sheet; both are added." for name in doubled]
    return tuple(dict.fromkeys(notices))
