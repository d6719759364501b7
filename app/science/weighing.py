"""From percentages to the weights on a batch sheet: what each scale can show, adding up to the batch exactly.

Rules:
- The weighed batch is ``batch_g`` when nothing is lost; with a loss it is batch = net / (1 - loss) (a yield, not an
  overage), rounded up to the finest readability.
- A line is weighed on the finest scale whose capacity holds it; where none does, on the largest scale in portions.
- With a q.s. line every other line is rounded to the nearest step of its scale and the q.s. line takes the rest.
  Without one, or when that line is too small for it, the steps left over go to the largest remainders. What the
  steps of the scales cannot express (a batch that is no multiple of the readability, fine and coarse scales on one
  sheet) stays on the q.s. line, or else on the largest, so that the sum is the batch to the last digit.
- A weight below ten readabilities is not resolved within 5 %: half a readability is the least error of a reading.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.formula import total_message
from app.science.numbers import ceil_to_step, exact_arithmetic, floor_to_step, plain, to_places, to_step
from app.science.scales import ASSUMED_SCALE, MOST_ERROR_PERCENT, Choice, Scale, check_scales, choose
from app.science.weighing_advice import Advice, Solvent, advise_portions, advise_small

HUNDRED = Decimal(100)
ZERO = Decimal(0)
# Percentages that repeat without end, written with enough digits, miss 100 by less than this.
ROUNDING_PERCENT = Decimal("0.001")
TARGET_PLACES = 40


@dataclass(frozen=True, slots=True)
class LineToWeigh:
    """A line of a formula: % w/w (0 to 100), or the one line that fills up to 100."""

    id: str
    percent: Decimal | None = None
    qs: bool = False
    phase: str = ""


@dataclass(frozen=True, slots=True)
class WeighedLine:
    """A line as it stands on the sheet.

    ``target_g`` is the exact weight, ``shown_g`` what the sheet asks for, ``relative_error_percent`` the distance of
    the two in % of the target, ``resolution_percent`` half a readability in % of the target (None for a target of 0).
    """

    id: str
    percent: Decimal
    target_g: Decimal
    shown_g: Decimal
    scale: Scale
    relative_error_percent: Decimal
    resolution_percent: Decimal | None
    advice: Advice | None = None


@dataclass(frozen=True, slots=True)
class Weighing:
    """A weighed batch; the shown weights sum to ``total_shown_g``, which is the weighed batch, exactly."""

    lines: tuple[WeighedLine, ...]
    total_shown_g: Decimal


@dataclass(frozen=True, slots=True)
class _Target:
    line: LineToWeigh
    percent: Decimal
    grams: Decimal
    choice: Choice

    @property
    def step(self) -> Decimal:
        return self.choice.scale.readability_g

    @property
    def remainder(self) -> Decimal:
        return (self.grams - floor_to_step(self.grams, self.step)) / self.step


def weigh(
    lines: Sequence[LineToWeigh],
    batch_g: Decimal,
    scales: Sequence[Scale] = (ASSUMED_SCALE,),
    loss_percent: Decimal = ZERO,
) -> Weighing:
    """Work out the weights of a batch of which ``batch_g`` grams are left after a loss of ``loss_percent`` (0 to <100).

    Raises:
        Invalid: at ``lines…``, ``batch_g``, ``scales…`` or ``loss_percent``, when a value makes no sense.
    """
    with exact_arithmetic():
        check_scales(scales)
        whole_g = weighed_batch(batch_g, loss_percent, scales)
        targets = _targets(lines, whole_g, scales)
        shown = _shown(targets, whole_g)
        advice = _advice(targets, shown, scales, batch_g)
        weighed = (_weighed(*row) for row in zip(targets, shown, advice, strict=True))
        return Weighing(tuple(weighed), sum(shown, ZERO))


def weighed_batch(batch_g: Decimal, loss_percent: Decimal, scales: Sequence[Scale] = (ASSUMED_SCALE,)) -> Decimal:
    """Give the grams to weigh so that ``batch_g`` is left: batch = net / (1 - loss), up to the finest readability.

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


def _targets(lines: Sequence[LineToWeigh], whole_g: Decimal, scales: Sequence[Scale]) -> list[_Target]:
    shares = _shares(lines)
    total = sum(shares, ZERO)
    weights = [to_places(whole_g * share / total, TARGET_PLACES) for share in shares]
    return [
        _Target(line, share, weight, choose(weight, scales))
        for line, share, weight in zip(lines, shares, weights, strict=True)
    ]


def _shares(lines: Sequence[LineToWeigh]) -> list[Decimal]:
    """Check the lines and give each one's percentage, the q.s. remainder filled in."""
    _check_lines(lines)
    typed = sum((line.percent for line in lines if line.percent is not None), ZERO)
    place = next((position for position, line in enumerate(lines) if line.qs), None)
    if place is None and abs(typed - HUNDRED) > ROUNDING_PERCENT:
        raise Invalid("lines", f"{total_message(typed)} Correct them, or let one line fill up to 100.")
    if place is not None and typed > HUNDRED:
        message = f"The other lines add up to {plain(typed)} %; take {plain(typed - HUNDRED)} away."
        raise Invalid(f"lines[{place}].qs", message)
    return [HUNDRED - typed if line.percent is None else line.percent for line in lines]


def _check_lines(lines: Sequence[LineToWeigh]) -> None:
    seen: set[str] = set()
    filling: str | None = None
    for position, line in enumerate(lines):
        field = f"lines[{position}]"
        if line.id in seen:
            raise Invalid(f"{field}.id", f"The id {line.id!r} stands on two lines; give each line its own.")
        seen.add(line.id)
        _check_share(line, field)
        if line.qs and filling is not None:
            raise Invalid(f"{field}.qs", f"Line {filling!r} fills up to 100 already; give this one a percentage.")
        filling = line.id if line.qs else filling
    if not lines:
        raise Invalid("lines", "Write at least one line.")


def _check_share(line: LineToWeigh, field: str) -> None:
    if line.qs and line.percent is not None:
        raise Invalid(f"{field}.percent", "A line that fills up to 100 has no percentage of its own; take one away.")
    if not line.qs and line.percent is None:
        raise Invalid(f"{field}.percent", "Write a percentage, or let this line fill up to 100.")
    if line.percent is not None and not 0 <= line.percent <= HUNDRED:
        raise Invalid(f"{field}.percent", f"{plain(line.percent)} % is out of range; write 0 to 100.")


def _shown(targets: Sequence[_Target], whole_g: Decimal) -> list[Decimal]:
    """Round to the scales so that the sum is the batch exactly."""
    filling = next((position for position, target in enumerate(targets) if target.line.qs), None)
    if filling is not None:
        shown = [to_step(target.grams, target.step) for target in targets]
        shown[filling] += whole_g - sum(shown, ZERO)
        if _takes_the_rest(targets[filling], shown[filling]):
            return shown
    return _largest_remainders(targets, whole_g)


def _takes_the_rest(filling: _Target, shown_g: Decimal) -> bool:
    """Tell whether the q.s. line is large enough for the roundings of all other lines."""
    allowed = max(filling.step, filling.grams * MOST_ERROR_PERCENT / HUNDRED)
    return shown_g >= 0 and abs(shown_g - filling.grams) <= allowed


def _largest_remainders(targets: Sequence[_Target], whole_g: Decimal) -> list[Decimal]:
    shown = [floor_to_step(target.grams, target.step) for target in targets]
    for members in _by_step(targets):
        step = targets[members[0]].step
        due = floor_to_step(sum((targets[place].grams for place in members), ZERO), step)
        spare = int((due - sum((shown[place] for place in members), ZERO)) / step)
        for place in sorted(members, key=lambda p: (-targets[p].remainder, -targets[p].grams, p))[:spare]:
            shown[place] += step
    shown[_largest(targets)] += whole_g - sum(shown, ZERO)
    return shown


def _by_step(targets: Sequence[_Target]) -> Iterable[list[int]]:
    groups: dict[Decimal, list[int]] = defaultdict(list)
    for position, target in enumerate(targets):
        groups[target.step].append(position)
    return groups.values()


def _largest(targets: Sequence[_Target]) -> int:
    return max(range(len(targets)), key=lambda place: targets[place].grams)


def _advice(
    targets: Sequence[_Target], shown: Sequence[Decimal], scales: Sequence[Scale], batch_g: Decimal
) -> list[Advice | None]:
    order = sorted(range(len(targets)), key=lambda place: (not targets[place].line.qs, -targets[place].grams))
    by_phase: dict[str, list[int]] = defaultdict(list)
    for place in order:
        by_phase[targets[place].line.phase].append(place)
    advice: list[Advice | None] = []
    for place, target in enumerate(targets):
        likely = (*order[:2], *by_phase[target.line.phase][:2])
        solvent = _solvent(place, likely, targets, shown)
        advice.append(_advice_for(target, shown[place], scales, batch_g, solvent))
    return advice


def _solvent(place: int, likely: Sequence[int], targets: Sequence[_Target], shown: Sequence[Decimal]) -> Solvent | None:
    """Take the q.s. line, else the largest line of the same phase, else the largest of all; never the line itself."""
    others = [other for other in likely if other != place]
    phase = targets[place].line.phase
    best = sorted(others, key=lambda other: (not targets[other].line.qs, targets[other].line.phase != phase))
    return Solvent(targets[best[0]].line.id, shown[best[0]]) if best else None


def _advice_for(
    target: _Target, shown_g: Decimal, scales: Sequence[Scale], batch_g: Decimal, solvent: Solvent | None
) -> Advice | None:
    if target.choice.portions > 1:
        return advise_portions(target.grams, target.choice)
    resolution = target.choice.scale.resolution_percent(target.grams)
    if resolution is None or max(resolution, _relative_error(target, shown_g)) <= MOST_ERROR_PERCENT:
        return None
    return advise_small(target.grams, batch_g, scales, solvent)


def _relative_error(target: _Target, shown_g: Decimal) -> Decimal:
    return HUNDRED * abs(shown_g - target.grams) / target.grams if target.grams else ZERO


def _weighed(target: _Target, shown_g: Decimal, advice: Advice | None) -> WeighedLine:
    return WeighedLine(
        id=target.line.id,
        percent=target.percent,
        target_g=target.grams,
        shown_g=shown_g,
        scale=target.choice.scale,
        relative_error_percent=_relative_error(target, shown_g),
        resolution_percent=target.choice.scale.resolution_percent(target.grams),
        advice=advice,
    )
