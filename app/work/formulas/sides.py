"""On which side of an emulsion the shipped substances and the phases of a draft stand."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import Substance, substances
from app.science.formula import Affinity
from app.work.formulas.reading import ReadLine

SOLVENT_WORDS = {
    Affinity.WATER: ("water", "hot water", "cold water", "alkaline water", "glycols", "alcohol, glycols", "surfactant"),
    Affinity.OIL: ("oil", "silicones", "alcohol, oils", "alcohol, esters"),
}
HINTS = {"water": Affinity.WATER, "oil": Affinity.OIL}


@cache
def substance_sides() -> Mapping[str, Affinity]:
    """The side of every shipped substance that its solubility, or else its usual phase, tells."""
    found = {key: _side(substance) for key, substance in substances().items()}
    return MappingProxyType({key: side for key, side in found.items() if side is not None})


def _side(substance: Substance) -> Affinity | None:
    for side, words in SOLVENT_WORDS.items():
        if substance.solubility.startswith(words):
            return side
    return HINTS.get(substance.phase_hint, Affinity.OTHER if substance.solubility.startswith("insoluble") else None)


def phase_sides(lines: Iterable[ReadLine]) -> dict[str, Affinity]:
    """Give each phase the side on which most of it stands by the hints of its materials, where they have any."""
    weights: dict[str, dict[Affinity, Decimal]] = {}
    for line in lines:
        side = HINTS.get(line.material.phase_hint) if line.material else None
        if side is not None:
            sums = weights.setdefault(line.draft.phase, dict.fromkeys(Affinity, Decimal(0)))
            sums[side] += line.percent
    return {phase: max(sums, key=lambda side: sums[side]) for phase, sums in weights.items()}
