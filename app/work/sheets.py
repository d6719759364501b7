"""The batch sheet as a value: what to weigh on which scale, in which order, with the caution at each step."""

from dataclasses import dataclass
from decimal import Decimal

from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.formula import Formula, Phase
from app.science.weighing import WeighedLine, Weighing, weigh
from app.work.rules.answers import AnsweredFinding

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
class SheetPhase:
    """A phase with its weighed lines and the cautions that stand above them."""

    phase: Phase
    lines: tuple[WeighedLine, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchSheet:
    """Everything a batch sheet shows: a formula at its batch size; the printed weights sum to ``weighed_g``.

    ``findings`` are those of the checks that have no answer yet, stops first.
    """

    formula: Formula
    size: BatchSize
    weighing: Weighing
    phases: tuple[SheetPhase, ...]
    findings: tuple[AnsweredFinding, ...] = ()

    @property
    def has_measures(self) -> bool:
        """Whether a line was written as a measure, which then stands beside its grams."""
        return any(line.line.measure for line in self.lines)

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
        raise Invalid("size", "Write the batch size, such as 500 g or 40 units.")
    phases = tuple(
        SheetPhase(phase, tuple(weighing.by_key[line.key] for line in phase.lines), cautions_of(phase))
        for phase in formula.phases
    )
    return BatchSheet(formula, formula.size, weighing, phases)


def cautions_of(phase: Phase) -> tuple[str, ...]:
    """Return the cautions of a phase: alkali, heat and powder first, then those of its materials."""
    materials = [line.material for line in phase.lines]
    own = [f"{material.name}: {material.cautions}" for material in materials if material.cautions]
    is_alkali = any(part.inci.upper() in ALKALIS for material in materials for part in material.parts)
    general = [ALKALI_CAUTION] if is_alkali else []
    if phase.temperature_c is not None and phase.temperature_c >= HOT_C:
        general.append(HOT_CAUTION)
    if any(material.phase_hint == "powder" for material in materials):
        general.append(POWDER_CAUTION)
    return tuple(dict.fromkeys([*general, *own]))
