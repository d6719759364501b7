"""From percentages to the weights on a batch sheet: what each scale can show, adding up to the batch exactly.

Rules:
- The weighed batch is the batch size when nothing is lost; with a loss it is batch = net / (1 - loss) (a yield, not
  an overage), rounded up to the finest readability.
- A line is weighed on the finest scale whose capacity holds it; where none does, on the largest scale in portions.
- With a q.s. line every other line is rounded to the nearest step of its scale and the q.s. line takes the rest.
  Without one, or when that line is too small for it, the steps left over go to the largest remainders. What the
  steps of the scales cannot express (a batch that is no multiple of the readability, fine and coarse scales on one
  sheet) stays on the q.s. line, or else on the largest, so that the sum is the batch to the last digit.
- A weight below ten readabilities is not resolved within 5 %: half a readability is the least error of a reading.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, partial
from itertools import chain

from app.science.errors import Invalid
from app.science.formula import Formula, Line, dissolves, total_message
from app.science.numbers import ceil_to_step, exact_arithmetic, floor_to_step, to_places, to_step
from app.science.scales import ASSUMED_SCALE, MOST_ERROR_PERCENT, Scale, ScaleChoice, check_scales, choose
from app.science.weighing_advice import SolventLine, WeighingAdvice, advise_portions, advise_small

HUNDRED = Decimal(100)
ZERO = Decimal(0)
# Percentages that repeat without end, written with enough digits, miss 100 by less than this.
ROUNDING_PERCENT = Decimal("0.001")
TARGET_PLACES = 40


@dataclass(frozen=True, slots=True)
class WeighedLine:
    """A line of a formula with its weight.

    ``target_g`` is the exact weight in grams, ``shown_g`` the weight with which the lines add up to the batch exactly,
    ``relative_error_percent`` the distance of the two in % of the target, ``resolution_percent`` half a readability in
    % of the target (None for a target of 0).
    """

    line: Line
    target_g: Decimal
    shown_g: Decimal
    scale: Scale
    relative_error_percent: Decimal
    resolution_percent: Decimal | None
    advice: WeighingAdvice | None = None

    @property
    def measured(self) -> Decimal | None:
        """The target in the unit that the line was written in; None where that was a percentage or grams."""
        measure = self.line.measure
        return None if measure is None else self.target_g / measure.unit_g

    @property
    def weigh_g(self) -> Decimal:
        """What is asked of the person: the shown weight, to the step that the scale can show."""
        return to_step(self.shown_g, self.scale.readability_g)


@dataclass(frozen=True)
class Weighing:
    """A weighed batch. The shown weights sum to ``total_shown_g``, which is the batch with its loss, exactly."""

    lines: tuple[WeighedLine, ...]
    total_shown_g: Decimal

    @property
    def total_g(self) -> Decimal:
        """The sum of what is asked of the person; half a step of the coarsest scale from the batch at most."""
        with exact_arithmetic():
            return sum((line.weigh_g for line in self.lines), ZERO)

    @cached_property
    def by_key(self) -> dict[str, WeighedLine]:
        """The weighed lines by the keys of their lines."""
        return {weighed.line.key: weighed for weighed in self.lines}


@dataclass(frozen=True, slots=True)
class _Target:
    line: Line
    phase: str
    grams: Decimal
    choice: ScaleChoice

    @property
    def step(self) -> Decimal:
        return self.choice.scale.readability_g

    @property
    def remainder(self) -> Decimal:
        return (self.grams - floor_to_step(self.grams, self.step)) / self.step


def weigh(formula: Formula) -> Weighing:
    """Return the weights of a formula at its batch size, on its scales, with its loss.

    Percentages that repeat without end may miss 100 by 0.001 and count as a whole.

    Raises:
        Invalid: at ``lines``, ``batch_g``, ``scales…`` or ``loss_percent``, when the formula has no line or no size,
            does not add up to 100 %, or a value makes no sense.
    """
    with exact_arithmetic():
        check_scales(formula.scales)
        net_g = formula.size.net_g if formula.size else ZERO
        whole_g = weighed_batch(net_g, formula.loss_percent, formula.scales)
        total = formula.total_percent
        if not formula.lines:
            raise Invalid("lines", "Enter at least one line.")
        if abs(total - HUNDRED) > ROUNDING_PERCENT:
            raise Invalid("lines", f"{total_message(total)} Correct them, or let one line fill up to 100.")
        targets = [
            _Target(line, phase.letter, grams, choose(grams, formula.scales))
            for phase in formula.phases
            for line in phase.lines
            for grams in [to_places(whole_g * line.percent / total, TARGET_PLACES)]
        ]
        shown = _shown(targets, whole_g)
        advice = _advice(targets, shown, formula.scales, net_g)
        weighed = (_weighed(*row) for row in zip(targets, shown, advice, strict=True))
        return Weighing(tuple(weighed), sum(shown, ZERO))


def weighed_batch(batch_g: Decimal, loss_percent: Decimal, scales: Sequence[Scale] = (ASSUMED_SCALE,)) -> Decimal:
    """Return the grams to weigh so that ``batch_g`` is left: batch = net / (1 - loss), up to the finest readability.

    Raises:
        Invalid: when the batch is not above 0 g or the loss is not from 0 to below 100 %.
    """
    if batch_g <= 0:
        raise Invalid("batch_g", "The batch must be above 0 g.")
    if not 0 <= loss_percent < HUNDRED:
        raise Invalid("loss_percent", "The loss must be 0 % or more and less than 100 %.")
    if not loss_percent:
        return batch_g
    finest = min(scale.readability_g for scale in scales)
    return ceil_to_step(batch_g / (1 - loss_percent / HUNDRED), finest)


def _shown(targets: Sequence[_Target], whole_g: Decimal) -> list[Decimal]:
    """Round to the scales so that the sum is the batch exactly."""
    filling = next((position for position, target in enumerate(targets) if target.line.is_remainder), None)
    if filling is not None:
        shown = [to_step(target.grams, target.step) for target in targets]
        shown[filling] += whole_g - sum(shown, ZERO)
        allowed = max(targets[filling].step, targets[filling].grams * MOST_ERROR_PERCENT / HUNDRED)
        # A sheet prints this line too as its scale shows it, so that has to be near enough as well.
        read = to_step(shown[filling], targets[filling].step)
        off = max(abs(grams - targets[filling].grams) for grams in (shown[filling], read))
        if shown[filling] >= 0 and off <= allowed:
            return shown
    return _largest_remainders(targets, whole_g)


def _largest_remainders(targets: Sequence[_Target], whole_g: Decimal) -> list[Decimal]:
    shown = [floor_to_step(target.grams, target.step) for target in targets]
    groups: dict[Decimal, list[int]] = defaultdict(list)
    for position, target in enumerate(targets):
        groups[target.step].append(position)
    for step, members in groups.items():
        due = floor_to_step(sum((targets[place].grams for place in members), ZERO), step)
        spare = int((due - sum((shown[place] for place in members), ZERO)) / step)
        for place in sorted(members, key=lambda p: (-targets[p].remainder, -targets[p].grams, p))[:spare]:
            shown[place] += step
    shown[max(range(len(targets)), key=lambda place: targets[place].grams)] += whole_g - sum(shown, ZERO)
    return shown


def _advice(
    targets: Sequence[_Target], shown: Sequence[Decimal], scales: Sequence[Scale], batch_g: Decimal
) -> list[WeighingAdvice | None]:
    order = sorted(range(len(targets)), key=lambda place: (not targets[place].line.is_remainder, -targets[place].grams))
    of_phase: dict[str, list[int]] = defaultdict(list)
    for place in order:
        of_phase[targets[place].phase].append(place)

    def solvent_of(place: int) -> SolventLine | None:
        """Return the line whose material dissolves this one; never the line itself.

        Of those, the q.s. line first, then the largest of the same phase, then the largest of all. A material of which
        it is not known what dissolves it may go into any line; one that nothing here dissolves into none.
        """
        filling = order[:1] if targets[order[0]].line.is_remainder else []
        solvency = targets[place].line.material.solvency
        for other in chain(filling, of_phase[targets[place].phase], order):
            line = targets[other].line
            if other != place and (solvency is None or dissolves(line.material, solvency)):
                return SolventLine(line.key, line.name, shown[other], is_sure=solvency is not None)
        return None

    return [
        _advice_for(target, shown[place], scales, batch_g, partial(solvent_of, place))
        for place, target in enumerate(targets)
    ]


def _advice_for(
    target: _Target,
    shown_g: Decimal,
    scales: Sequence[Scale],
    batch_g: Decimal,
    solvent: Callable[[], SolventLine | None],
) -> WeighingAdvice | None:
    if target.choice.portions > 1:
        return advise_portions(target.grams, target.choice)
    resolution = target.choice.scale.resolution_percent(target.grams)
    if resolution is None or max(resolution, _relative_error(target, shown_g)) <= MOST_ERROR_PERCENT:
        return None
    return advise_small(target.line.name, target.grams, batch_g, scales, solvent())


def _relative_error(target: _Target, shown_g: Decimal) -> Decimal:
    return HUNDRED * abs(shown_g - target.grams) / target.grams if target.grams else ZERO


def _weighed(target: _Target, shown_g: Decimal, advice: WeighingAdvice | None) -> WeighedLine:
    return WeighedLine(
        line=target.line,
        target_g=target.grams,
        shown_g=shown_g,
        scale=target.choice.scale,
        relative_error_percent=_relative_error(target, shown_g),
        resolution_percent=target.choice.scale.resolution_percent(target.grams),
        advice=advice,
    )
