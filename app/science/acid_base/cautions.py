"""The cautions that belong to a step with an acid or a base."""

from enum import StrEnum

from app.science.acid_base.model import CARBONATE
from app.science.acid_base.values import Solute


class Hazard(StrEnum):
    """What kind of thing is handled."""

    STRONG_ALKALI = "strong alkali"
    STRONG_ACID = "strong acid"
    AMINE = "amine"
    AMINO_ACID = "amino acid"
    CARBONATE = "carbonate"
    ORGANIC_ACID = "organic acid"
    SALT = "salt"


STRONG_ACID_PKA = 2.5

# Supplier handling sheets for sodium hydroxide and hazard summaries; common practice.
WORDS = {
    Hazard.STRONG_ALKALI: (
        "Corrosive: burns skin and can blind. Wear goggles, gloves and long sleeves; keep children and animals away.",
        "Add alkali to cold water in small portions, never water to alkali; it heats up and can spit. Ventilate.",
        "Never use aluminium, tin, zinc or brass: use polypropylene, polyethylene or stainless steel.",
        "Splash on skin or in an eye: rinse with running water for at least 15 minutes and get medical help. "
        "Do not neutralise it on the skin.",
    ),
    Hazard.STRONG_ACID: (
        "Corrosive: burns skin and eyes. Wear goggles, gloves and long sleeves.",
        "Add acid to water, never water to acid. Ventilate and keep it away from bleach and from metals.",
        "Splash on skin or in an eye: rinse with running water for at least 15 minutes and get medical help.",
    ),
    Hazard.AMINE: (
        "Irritates eyes, skin and airways, and burns when concentrated. Wear goggles and gloves, and ventilate.",
        "Keep amines away from nitrites and from preservatives that release nitrite or formaldehyde: "
        "nitrosamines may form.",
        "Splash in an eye: rinse with running water for at least 15 minutes and get medical help.",
    ),
    Hazard.AMINO_ACID: (
        "The solution is alkaline and stings in the eyes: wear goggles. Do not breathe the dust of the powder.",
    ),
    Hazard.CARBONATE: (
        "Fizzes with acids: use a tall vessel, add in small portions, never in a closed container.",
        "Do not breathe the dust; wear goggles.",
    ),
    Hazard.ORGANIC_ACID: (
        "Concentrated acid irritates skin and burns eyes. Wear goggles and gloves; do not breathe powder dust.",
        "Splash in an eye: rinse with running water for at least 15 minutes and get medical help.",
    ),
    Hazard.SALT: ("Do not breathe the dust of the powder; wear goggles.",),
}
STEPWISE = "Add in steps with stirring, wait until it is even, and measure before the next addition."


def hazard(substance: Solute) -> Hazard:
    """Return what kind of thing a substance is, from its ions and pKa values."""
    net = sum(ion.charge * n for ion, n in substance.ions)
    if not substance.families and substance.polymer is None:
        return Hazard.STRONG_ALKALI if net > 0 else Hazard.STRONG_ACID if net < 0 else Hazard.SALT
    if not substance.families:
        return Hazard.SALT
    family = substance.families[0][0]
    if family.key == CARBONATE:
        return Hazard.CARBONATE
    if family.charge > 0 and net == 0:
        return Hazard.AMINE if len(family.pkas) == family.charge else Hazard.AMINO_ACID
    if family.charge <= 0 and net == 0:
        return Hazard.STRONG_ACID if family.pkas[0] < STRONG_ACID_PKA else Hazard.ORGANIC_ACID
    return Hazard.SALT


def cautions(substance: Solute) -> tuple[str, ...]:
    """Return the cautions for handling a substance or its solution, then the one for every pH adjustment."""
    return (*WORDS[hazard(substance)], STEPWISE)
