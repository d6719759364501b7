"""The batch sheet as a value: what to weigh on which scale, in which order, with the caution at each step."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.numbers import plain, to_step
from app.science.scales import Scale as Readability
from app.science.weighing import LineToWeigh, WeighedLine, weigh
from app.science.weighing_advice import Advice
from app.store.workshop import Scale
from app.work.formulas.sound import SoundFormula, SoundLine, SoundPhase

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
class SheetLine:
    """A line to weigh: exact target, what the scale shows, which scale, and what to do when it cannot show it."""

    line: SoundLine
    target_g: Decimal
    shown_g: Decimal
    step_g: Decimal
    scale: str
    error_percent: Decimal
    advice: str

    @property
    def places(self) -> int:
        """The decimals that the scale shows."""
        exponent = self.step_g.normalize().as_tuple().exponent
        return max(0, -exponent) if isinstance(exponent, int) else 0


@dataclass(frozen=True, slots=True)
class SheetPhase:
    """A phase with its lines, its method steps in order and the cautions that stand above them."""

    phase: SoundPhase
    lines: tuple[SheetLine, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchSheet:
    """Everything a batch sheet shows.

    ``weighed_g`` is the sum of the shown weights; each of them is one that its scale can show, so the sum may miss the
    weighed batch by half a step of the coarsest scale. ``size.net_g`` is what should be left.
    """

    formula: SoundFormula
    size: BatchSize
    size_text: str
    loss_percent: Decimal
    weighed_g: Decimal
    phases: tuple[SheetPhase, ...]

    @property
    def lines(self) -> tuple[SheetLine, ...]:
        """All lines, phase by phase."""
        return tuple(line for phase in self.phases for line in phase.lines)


def batch_sheet(
    formula: SoundFormula, size: BatchSize, size_text: str, loss_percent: Decimal, scales: Sequence[Scale]
) -> BatchSheet:
    """Work out the sheet of a batch on the scales of the workshop.

    Raises:
        Invalid: at ``batch``, ``loss_percent`` or the scales, when the weights cannot be worked out.
    """
    if not scales:
        raise Invalid("scales", "The workshop has no scale yet; add one with its smallest step and its largest load.")
    wanted = [LineToWeigh(line.key, None if line.qs else line.percent, line.qs, line.phase) for line in formula.lines]
    weighing = weigh(wanted, size.net_g, [Readability(s.readability_g, s.capacity_g) for s in scales], loss_percent)
    found = {weighed.id: weighed for weighed in weighing.lines}
    names = {line.key: line.name for line in formula.lines}
    phases = tuple(
        SheetPhase(phase, tuple(_line(line, found[line.key], names, scales) for line in phase.lines), _cautions(phase))
        for phase in formula.phases
    )
    whole_g = sum((line.shown_g for phase in phases for line in phase.lines), Decimal(0))
    return BatchSheet(formula, size, size_text, loss_percent, whole_g, phases)


def _line(line: SoundLine, weighed: WeighedLine, names: dict[str, str], scales: Sequence[Scale]) -> SheetLine:
    chosen = (weighed.scale.readability_g, weighed.scale.capacity_g)
    scale = next(s for s in scales if (s.readability_g, s.capacity_g) == chosen)
    return SheetLine(
        line,
        weighed.target_g,
        to_step(weighed.shown_g, scale.readability_g),
        scale.readability_g,
        scale.name,
        weighed.relative_error_percent,
        advice_words(line.name, weighed.advice, names) if weighed.advice else "",
    )


def advice_words(name: str, advice: Advice, names: dict[str, str]) -> str:
    """Say what to do about a weight that the scale cannot show, with the names of the shelf."""
    stock = advice.stock
    if stock is None:
        return advice.text
    solvent = names[stock.solvent_id]
    words = (
        f"Too little for the scale. Make a {plain(stock.strength_percent)} % stock: {plain(stock.make_material_g)} g "
        f"{name} brought to {plain(stock.make_total_g)} g with {solvent}. Weigh {plain(stock.stock_g)} g of the stock "
        f"here and {plain(stock.take_off_g)} g less {solvent}."
    )
    smallest = advice.smallest_batch_g
    return words + (f" Or make at least {plain(smallest)} g." if smallest else "")


def _cautions(phase: SoundPhase) -> tuple[str, ...]:
    own = [f"{line.name}: {line.cautions}" for line in phase.lines if line.cautions]
    general = [ALKALI_CAUTION] if any(_is_alkali(line) for line in phase.lines) else []
    if phase.temperature_c is not None and phase.temperature_c >= HOT_C:
        general.append(HOT_CAUTION)
    if any(line.phase_hint == "powder" for line in phase.lines):
        general.append(POWDER_CAUTION)
    return tuple(dict.fromkeys([*general, *own]))


def _is_alkali(line: SoundLine) -> bool:
    return any(part.inci.upper() in ALKALIS for part in line.parts)
