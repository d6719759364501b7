"""On which side of an emulsion the shipped substances and the phases of a formula stand."""

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import Substance, substances
from app.science.emulsion_sides import Affinity
from app.science.formula import Formula

SOLVENT_WORDS = {
    Affinity.WATER: ("water", "hot water", "cold water", "alkaline water", "glycols", "alcohol, glycols", "surfactant"),
    Affinity.OIL: ("oil", "silicones", "alcohol, oils", "alcohol, esters"),
}
HINTS = {"water": Affinity.WATER, "oil": Affinity.OIL}


@cache
def substance_sides() -> Mapping[str, Affinity]:
    """Return the side of every shipped substance that its solubility, or else its usual phase, tells."""
    found = {key: _side(substance) for key, substance in substances().items()}
    return MappingProxyType({key: side for key, side in found.items() if side is not None})


def _side(substance: Substance) -> Affinity | None:
    for side, words in SOLVENT_WORDS.items():
        if substance.solubility.startswith(words):
            return side
    return HINTS.get(substance.phase_hint, Affinity.OTHER if substance.solubility.startswith("insoluble") else None)


def phase_sides(formula: Formula) -> dict[str, Affinity]:
    """Return by letter the side on which most of a phase stands, by the hints of its materials where they have any."""
    found: dict[str, Affinity] = {}
    for phase in formula.phases:
        sums = dict.fromkeys(Affinity, Decimal(0))
        for line in phase.lines:
            if line.material.phase_hint in HINTS:
                sums[HINTS[line.material.phase_hint]] += line.percent
        if any(sums.values()):
            found[phase.letter] = max(sums, key=lambda side: sums[side])
    return found
