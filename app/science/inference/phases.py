"""A first proposal of phases and of the order of addition, with the usual caution where a step can hurt.

The order is common practice: gums are wetted first, both phases are heated apart and joined hot, what heat harms
follows below 40 C, the pH is set last.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from app.science.inference.values import PLANT_WATER, WATER

WET, OILY, COOL, ADJUSTING = "water", "oil", "cool-down", "adjusting"
LETTERS = {WET: "A", OILY: "B", COOL: "C", ADJUSTING: "D"}
ADJUSTERS = frozenset({"base", "amine_base", "acid"})
OILS = frozenset({"oil", "ester", "wax", "fatty_alcohol", "hydrocarbon", "silicone", "emulsifier", "antioxidant"})
RANKS = {WATER: 0, PLANT_WATER: 1, "chelator": 2, "polyol": 3, "thickener": 4, "wax": 0, "fatty_alcohol": 1, "oil": 3}
LATE = 9
SHARE_OF_WATER = 20.0
CAUTIONS = {
    "base": "Corrosive: goggles, gloves and sleeves. Add the alkali to water, never water to the alkali.",
    "amine_base": "Irritant: goggles and gloves. Add in small amounts and measure the pH after each.",
    "acid": "Irritant as a concentrate: goggles and gloves. Add in small amounts and measure the pH after each.",
    "acid_active": "Irritant as a concentrate: goggles and gloves; measure the pH of the finished product.",
    "preservative": "Irritant undiluted: gloves and goggles; weigh exactly and keep within the legal limit.",
    "preservative_trace": "Sensitising undiluted: gloves and goggles; weigh exactly and keep within the legal limit.",
    "powder": "Fine dust: wear a dust mask and add without stirring it up.",
    "colour": "Fine dust: wear a dust mask and add without stirring it up.",
    "uv_filter": "Fine dust as a powder: wear a dust mask. Home-made products must not be relied on against the sun.",
    "wax": "Hot melt: heat in a water bath, never over a flame, and keep it attended.",
    "surfactant": "Powdered grades irritate the airways: wear a dust mask; gloves and goggles.",
    "alcohol": "Highly flammable: no flame or hot plate near, good ventilation.",
}
SENTENCES = {
    "thickener": "Disperse in the glycol or glycerin of the phase, or sprinkle in under stirring, and let it swell.",
    "active": "Check its temperature and pH window before adding.",
    "perfume": "Add below 40 °C.",
    "essential_oil": "Add below 40 °C.",
}


@dataclass(frozen=True, slots=True)
class PhaseItem:
    """A material with its dose (% w/w), the class of its main substance and the phase hint of the library."""

    id: str
    name: str
    percent: float
    class_name: str
    hint: str = "either"


@dataclass(frozen=True, slots=True)
class Step:
    """A material at its place: phase letter, number in the order of addition (from 1), what to do, what to mind."""

    item: PhaseItem
    phase: str
    number: int
    how: str
    caution: str


def propose_phases(items: Sequence[PhaseItem]) -> tuple[Step, ...]:
    """Propose phases A (water), B (oil), C (cool-down), D (adjusting) and the order within each.

    Without enough water everything that melts or mixes goes into one heated phase.
    """
    wet = sum(i.percent for i in items if i.class_name in (WATER, PLANT_WATER)) >= SHARE_OF_WATER
    placed = [(_phase(item, wet), item) for item in items]
    ordered = sorted(placed, key=lambda pair: (LETTERS[pair[0]], RANKS.get(pair[1].class_name, LATE), -pair[1].percent))
    return tuple(_step(number, phase, item) for number, (phase, item) in enumerate(ordered, start=1))


def _phase(item: PhaseItem, wet: bool) -> str:
    if item.class_name in ADJUSTERS and wet:
        return ADJUSTING
    if item.hint in (WET, OILY, COOL):
        return item.hint if wet or item.hint != WET else OILY
    return OILY if item.class_name in OILS or not wet else WET


def _step(number: int, phase: str, item: PhaseItem) -> Step:
    caution = CAUTIONS.get(item.class_name, "")
    return Step(item, LETTERS[phase], number, SENTENCES.get(item.class_name, ""), caution)


def phases_used(steps: Iterable[Step]) -> tuple[str, ...]:
    """Give the letters of the phases in order."""
    return tuple(sorted({step.phase for step in steps}))
