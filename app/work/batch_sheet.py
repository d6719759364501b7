"""The batch sheet as a value: what to weigh on which scale, in which order, with the caution at each step."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Phase
from app.science.heating import Pot
from app.science.rules.names import is_water
from app.science.specification import Check
from app.science.tolerance import checks_of
from app.science.weighing import WeighedLine, Weighing, weigh
from app.work.ph.mixture import has_water
from app.work.rules.answers import AnsweredFinding

WATER_PERCENT = Decimal(95)  # of a material that is put back for the water it lost
WARM_C = Decimal(40)  # from here on a phase with water is worth weighing before and after (common practice)

HOT_C = Decimal(60)
HOT_CAUTION = (
    "Hot water and hot oil burn: use a water bath, dry tools, heat-proof gloves and closed shoes; never leave it, "
    "and keep water out of hot oil."
)
ALKALI_CAUTION = (
    "Strong alkali: goggles, gloves and long sleeves. Add the alkali to the water or batch in small portions, never "
    "water onto alkali; never in aluminium. On skin or in eyes: rinse with water for 15 minutes and get medical help."
)
POWDER_CAUTION = "Fine powder: dust mask, still air, no draught or flame near it."
ALKALIS = ("SODIUM HYDROXIDE", "POTASSIUM HYDROXIDE")


@dataclass(frozen=True, slots=True)
class SheetStep:
    """A step of the method with its number on the sheet, and the keys of the lines it names."""

    number: int
    words: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetPhase:
    """A phase with its weighed lines, the cautions that stand above them, and its steps."""

    phase: Phase
    lines: tuple[WeighedLine, ...]
    cautions: tuple[str, ...]
    steps: tuple[SheetStep, ...] = ()

    def steps_of(self, key: str) -> tuple[int, ...]:
        """Return the numbers of the steps that name a line."""
        return tuple(step.number for step in self.steps if key in step.lines)


@dataclass(frozen=True, slots=True)
class BatchSheet:
    """Everything a batch sheet shows: a formula at its batch size; the printed weights sum to ``weighed_g``.

    ``findings`` are those of the checks that have no answer yet, stops first; ``pots`` are the vessels it can be
    heated in, with what they usually lose.
    """

    formula: Formula
    size: BatchSize
    weighing: Weighing
    phases: tuple[SheetPhase, ...]
    findings: tuple[AnsweredFinding, ...] = ()
    pots: tuple[Pot, ...] = ()

    @property
    def has_ph(self) -> bool:
        """Whether there is water enough to read a pH in."""
        materials = [one for one in self.formula.dosed if one.percent > 0 and one.parts]
        return bool(materials) and has_water(materials)

    @property
    def checks(self) -> tuple[Check, ...]:
        """What is to be read of the batch."""
        return checks_of(self.formula)

    @property
    def loses_water(self) -> bool:
        """Whether water is heated in it, so that some of it is lost."""
        return loses_water(self.formula)

    @property
    def lines(self) -> tuple[WeighedLine, ...]:
        """All weighed lines, phase by phase."""
        return self.weighing.lines

    @property
    def weighed_g(self) -> Decimal:
        """The sum of the printed weights."""
        return self.weighing.total_g

    @property
    def loss_percent(self) -> Decimal:
        """The process loss that is allowed for, %."""
        return self.formula.loss_percent


def batch_sheet(formula: Formula) -> BatchSheet:
    """Return the sheet of a formula at its batch size.

    Raises:
        Invalid: at ``size``, ``batch_g``, ``loss_percent`` or the scales, when the weights cannot be worked out.
    """
    return sheet_of(formula, weigh(formula))


def sheet_of(formula: Formula, weighing: Weighing) -> BatchSheet:
    """Return the sheet of a formula with weights that were worked out.

    Raises:
        Invalid: at ``size``, when the formula has no batch size.
    """
    if formula.size is None:
        raise Invalid("size", "Enter the batch size, such as 500 g or 40 units.")
    phases, number = [], 1
    for phase in formula.phases:
        steps = _steps(phase, formula.lines, number)
        number += len(steps)
        lines = tuple(weighing.by_key[line.key] for line in phase.lines)
        phases.append(SheetPhase(phase, lines, cautions_of(phase), steps))
    return BatchSheet(formula, formula.size, weighing, tuple(phases))


def _steps(phase: Phase, lines: Sequence[Line], first: int) -> tuple[SheetStep, ...]:
    """Number the steps of a phase, each with the lines of the formula that it names."""
    return tuple(
        SheetStep(number, words, tuple(line.key for line in lines if _names(words, line, lines)))
        for number, words in enumerate(phase.method, start=first)
    )


def _names(words: str, line: Line, lines: Sequence[Line]) -> bool:
    """Tell whether a step names a line: by its whole name, or by its first word where no other line begins with it."""
    text = words.casefold()
    if line.name.casefold() in text:
        return True
    first = _first_word(line.name)
    alone = sum(_first_word(other.name) == first for other in lines) == 1
    return len(first) > 2 and alone and re.search(rf"\b{re.escape(first)}s?\b", text) is not None


def _first_word(name: str) -> str:
    found = re.search(r"\w+", name)
    return found[0].casefold() if found else ""


def loses_water(formula: Formula) -> bool:
    """Return whether a phase with water is heated so far that it loses some."""
    return any(
        phase.temperature_c is not None
        and phase.temperature_c >= WARM_C
        and any(water_percent(line.material) >= WATER_PERCENT for line in phase.lines)
        for phase in formula.phases
    )


def water_percent(material: Material) -> Decimal:
    """Return how much of a material is water, % w/w."""
    return sum((part.percent for part in material.parts if is_water(part.inci)), Decimal(0))


def cautions_of(phase: Phase) -> tuple[str, ...]:
    """Return the cautions of a phase, each once with the materials it concerns: alkali and heat, then the others.

    What a material says of itself on alkali or powder is not repeated where the usual sentence stands, and the other
    way round.
    """
    found: dict[str, list[str]] = defaultdict(list)
    for line in phase.lines:
        material = line.material
        own = [" ".join(text.split()) for text in material.cautions.splitlines() if text.strip()]
        if any(part.inci.upper() in ALKALIS for part in material.parts):
            own = [ALKALI_CAUTION, *(words for words in own if "alkali" not in words.casefold())]
        if material.phase_hint == "powder" and not any("powder" in words.casefold() for words in own):
            own.append(POWDER_CAUTION)
        for words in own:
            found[words].append(material.name)
    told = [f"{', '.join(dict.fromkeys(names))}: {words}" for words, names in found.items()]
    told.sort(key=lambda words: ALKALI_CAUTION not in words)
    is_hot = phase.temperature_c is not None and phase.temperature_c >= HOT_C
    place = 1 if ALKALI_CAUTION in found else 0
    return (*told[:place], *([HOT_CAUTION] if is_hot else []), *told[place:])
