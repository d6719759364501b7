"""What it takes to make a recipe, from its weights, temperatures, method and cautions (common practice)."""

import re
from collections.abc import Iterable
from decimal import Decimal

from app.science.formula import Formula
from app.science.numbers import plain
from app.work.batch_sheet import ALKALI_CAUTION, cautions_of

WARM_C = Decimal(40)
ROOM = Decimal("1.5")  # a vessel holds half as much again as what is stirred in it
VESSELS_ML = tuple(map(Decimal, (50, 100, 250, 400, 600, 1000, 2000, 5000, 10_000)))
# Tools by what the steps say.
TOOLS = (
    (r"stick (?:mixer|blender)|homogeni[sz]|high[- ]shear|hand blender", "Stick blender"),
    (r"whisk", "Whisk"),
    (r"\bsiev|\bsift", "Fine sieve"),
    (r"\bgrind|mortar|mull", "Mortar and pestle, or a grinder"),
    (r"\bdrops?\b|dropwise", "Pipette or dropper"),
    (r"\bfilter", "Filter"),
    (r"\bmou?ld", "Moulds"),
)


def equipment_for(formula: Formula, total_g: Decimal, step_g: Decimal) -> tuple[str, ...]:
    """Return what it takes, one thing a line; vessels hold half as much again as what goes in (1 g taken for 1 mL)."""
    return tuple(dict.fromkeys(_things(formula, total_g, step_g)))


def _things(formula: Formula, total_g: Decimal, step_g: Decimal) -> Iterable[str]:
    yield f"Scale that shows {plain(step_g)} g"
    yield from _vessels(formula, total_g)
    if any((phase.temperature_c or Decimal(0)) >= WARM_C for phase in formula.phases):
        yield "Water bath"
    if any(phase.temperature_c is not None for phase in formula.phases):
        yield "Thermometer"
    steps = "\n".join(step for phase in formula.phases for step in phase.method)
    for pattern, words in TOOLS:
        if re.search(pattern, steps, re.IGNORECASE):
            yield words
    if formula.target_ph is not None:
        yield "pH meter checked the same day, or narrow pH strips"
    yield from _protection(formula)
    yield "Spatula, clean jars or bottles, labels"


def _protection(formula: Formula) -> Iterable[str]:
    cautions = {words for phase in formula.phases for words in cautions_of(phase)}
    if any(ALKALI_CAUTION in words for words in cautions):
        yield "Goggles, gloves, long sleeves"
    elif cautions:
        yield "Gloves and goggles"
    if any("dust mask" in words for words in cautions):
        yield "Dust mask"


def _vessels(formula: Formula, total_g: Decimal) -> Iterable[str]:
    """Yield a vessel for each phase; that of the largest phase holds the whole batch."""
    phases = [phase for phase in formula.phases if phase.lines]
    shares = {phase.letter: sum((line.percent for line in phase.lines), Decimal(0)) for phase in phases}
    largest = max(shares, key=lambda letter: shares[letter], default="")
    found: dict[tuple[str, Decimal], list[str]] = {}
    for phase in phases:
        grams = total_g if phase.letter == largest else total_g * shares[phase.letter] / 100
        kind = "Heat-proof beaker" if (phase.temperature_c or Decimal(0)) >= WARM_C else "Beaker or bowl"
        size = next((size for size in VESSELS_ML if size >= grams * ROOM), VESSELS_ML[-1])
        found.setdefault((kind, size), []).append(phase.letter)
    for (kind, size), letters in found.items():
        yield f"{kind}, {plain(size)} mL or more (phase {', '.join(letters)})"
