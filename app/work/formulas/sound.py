"""A formula that adds up: what sheets, labels, costs and checks are made from."""

from dataclasses import dataclass
from decimal import Decimal

from app.science.composition import DosedMaterial, Part


@dataclass(frozen=True, slots=True)
class SoundLine:
    """A line with its material as it was when the formula was read; ``percent`` is % w/w of the finished formula."""

    key: str
    phase: str
    material_id: int
    name: str
    percent: Decimal
    qs: bool
    parts: tuple[Part, ...]
    density_g_ml: Decimal | None = None
    phase_hint: str = "any"
    functions: str = ""
    cautions: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class SoundPhase:
    """A phase with its letter, temperature in degrees Celsius, and method steps in order."""

    letter: str
    name: str
    temperature_c: Decimal | None
    method: tuple[str, ...]
    lines: tuple[SoundLine, ...]


@dataclass(frozen=True, slots=True)
class SoundPackaging:
    """A piece of packaging with the number of it that one unit takes."""

    packaging_id: int
    per_unit: Decimal


@dataclass(frozen=True, slots=True)
class SoundFormula:
    """A whole formula whose percentages add up to exactly 100.

    ``version_id`` and ``version_number`` are None while it is read from a draft.
    """

    formula_id: int
    code: str
    name: str
    product_type: str
    exposure: str
    special_uses: tuple[str, ...]
    claims: str
    phases: tuple[SoundPhase, ...]
    batch: str
    fill: str
    density_g_ml: Decimal | None = None
    loss_percent: Decimal = Decimal(0)
    target_ph: Decimal | None = None
    labour_minutes: Decimal = Decimal(0)
    price: Decimal | None = None
    packaging: tuple[SoundPackaging, ...] = ()
    notes: str = ""
    version_id: int | None = None
    version_number: int | None = None

    @property
    def lines(self) -> tuple[SoundLine, ...]:
        """All lines, phase by phase."""
        return tuple(line for phase in self.phases for line in phase.lines)

    def dosed(self) -> tuple[DosedMaterial, ...]:
        """The formula as materials at percentages, for expansion into substances."""
        return tuple(DosedMaterial(line.name, line.percent, line.parts) for line in self.lines)
