"""A first proposal of phases and of the order of addition, with the usual caution where a step can hurt.

The order is common practice: gums are wetted first, both phases are heated apart and joined hot, what heat harms
follows below 40 C, the pH is set last.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from app.science.inference.cover import CoverLine
from app.science.inference.values import PLANT_WATER, WATER

WET, OILY, COOL, ADJUSTING = "water", "oil", "cool-down", "adjusting"
LETTERS = {WET: "A", OILY: "B", COOL: "C", ADJUSTING: "D"}
ADJUSTERS = frozenset({"base", "amine_base", "acid"})
OILS = frozenset({"oil", "ester", "wax", "fatty_alcohol", "hydrocarbon", "silicone", "emulsifier", "antioxidant"})
RANKS = {WATER: 0, PLANT_WATER: 1, "chelator": 2, "polyol": 3, "thickener": 4, "wax": 0, "fatty_alcohol": 1, "oil": 3}
LATE, UV = 9, "uv_filter"
NO_OIL = re.compile(r"SULFONIC ACID$|^(DI)?SODIUM |ZINC OXIDE|TITANIUM DIOXIDE", re.IGNORECASE)
MELTING = frozenset({"wax", "fatty_alcohol"})
LATE_IN_THE_COLD = frozenset({"preservative", "paraben", "booster", "perfume", "essential_oil", "antioxidant"})
HEATED_C = 75  # the heat of both phases when they are joined (common practice)
SHARE_OF_WATER, SHARE_OF_OIL = 20.0, 5.0
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
class Step:
    """A covered dose at its place: phase letter, number in the order of addition (from 1), what to do and to mind."""

    line: CoverLine
    phase: str
    number: int
    how: str
    caution: str


def propose_phases(
    lines: Sequence[CoverLine],
    hints: Mapping[str, str] | None = None,
    tender: Collection[str] = (),
    solid: Collection[str] | None = None,
) -> tuple[Step, ...]:
    """Propose phases A (water), B (oil), C (cool-down), D (adjusting) and the order within each.

    Without enough water everything that melts or mixes goes into one phase, heated where there is anything to melt.
    Powders against the sun are wetted in the oils where there are any to speak of.

    Args:
        lines: materials with their doses, % w/w.
        hints: the phase (``water``, ``oil``, ``cool-down``) where a material usually goes, by its id; ``adjusting``
            for what sets the pH of this formula.
        tender: ids of materials that do not stand the heat of a melt; they follow below 40 °C, but for the largest of
            a phase, without which there would be none.
        solid: ids of materials that are solid in the cold; None where that is not known, and all is heated.
    """
    phase_hints = dict(hints or {})
    wet = sum(map(_water_of, lines)) >= SHARE_OF_WATER
    if wet:  # what brings most of the water is the water phase, whatever is dissolved in it
        phase_hints[max(lines, key=_water_of).material.id] = WET
    filters = {i.material.id for i in lines if i.material.class_name == UV and is_oily_filter(i.material.main)}
    oily = sum(i.percent for i in lines if i.material.class_name in OILS or i.material.id in filters) >= SHARE_OF_OIL
    placed = []
    for line in lines:
        in_oil = line.material.id in filters or (line.material.class_name == UV and oily)
        phase = _phase(line.material.class_name, phase_hints.get(line.material.id, ""), wet, in_oil)
        placed.append((phase, line))
    if not wet and solid is not None:
        melts = any(
            phase == OILY and (line.material.id in solid or line.material.class_name in MELTING)
            for phase, line in placed
        )
        placed = placed if melts else [(_mixed_cold(line), line) for _, line in placed]
    heated = any(phase == OILY for phase, _ in placed)
    largest = {phase: max(one.percent for at, one in placed if at == phase) for phase, _ in placed}
    cooled = (
        (
            COOL
            if heated and phase in (WET, OILY) and line.material.id in tender and not _carries(phase, line, largest)
            else phase,
            line,
        )
        for phase, line in placed
    )
    steps: list[Step] = []
    for phase, line in sorted(
        cooled, key=lambda one: (LETTERS[one[0]], RANKS.get(one[1].material.class_name, LATE), -one[1].percent)
    ):
        how, caution = (words.get(line.material.class_name, "") for words in (SENTENCES, CAUTIONS))
        steps.append(Step(line, LETTERS[phase], len(steps) + 1, how, caution))
    return tuple(steps)


def is_oily_filter(key: str) -> bool:
    """Tell by its name whether a filter against the sun is an oil or dissolves in one; powders and salts do not."""
    return not NO_OIL.search(key)


def _water_of(line: CoverLine) -> float:
    """Return the water that a line brings, % w/w of the formula; the water of a plant counts as water."""
    whole = line.material.class_name in (WATER, PLANT_WATER)
    return line.percent * (1.0 if whole else line.material.parts.get("AQUA", 0.0) / 100)


def _carries(phase: str, line: CoverLine, largest: Mapping[str, float]) -> bool:
    """Tell whether there would be no such phase without a line: the largest, which in a melt has to be oily."""
    return line.percent >= largest[phase] and (phase == WET or line.material.class_name in OILS)


def _mixed_cold(line: CoverLine) -> str:
    """Place what needs no heat: scents and preservatives of a mixture follow once the rest is even."""
    late = line.material.class_name in LATE_IN_THE_COLD and line.percent < SHARE_OF_OIL
    return COOL if late else WET


def _phase(class_name: str, hint: str, wet: bool, in_oil: bool) -> str:
    if wet and (hint == ADJUSTING or class_name in ADJUSTERS):
        return ADJUSTING
    if hint in (WET, OILY, COOL):
        return hint if wet or hint != WET else OILY
    return OILY if class_name in OILS or in_oil or not wet else WET
