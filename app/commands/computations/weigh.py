"""``compute weigh``: the weights of a batch on the scales there are."""

from decimal import Decimal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Flag, Id, NonNegative, Percent, Positive, RequestModel
from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Phase, remainder_percent
from app.science.numbers import plain
from app.science.scales import ASSUMED_SCALE, Scale
from app.science.weighing import WeighedLine, weigh

SUMMARY = "weights for a batch that add up exactly, the scale for each, and what to do about weights too small for it"


class WeighLine(RequestModel):
    """A line: either ``percent`` or ``qs: true`` (at most one line)."""

    id: Id
    percent: Percent | None = None
    qs: Flag = False
    phase: str = Field(default="", max_length=400)


class RequestScale(RequestModel):
    """A scale of the workshop."""

    readability_g: Positive
    capacity_g: Positive | None = Field(default=None, description="without it the scale has no limit")


class Request(RequestModel):
    """A formula, the batch and the scales."""

    lines: list[WeighLine] = Field(min_length=1, max_length=10_000)
    batch_g: Positive = Field(description="grams that should be left after the loss")
    loss_percent: NonNegative = Field(
        default=Decimal(0), lt=100, description="the weighed batch is batch_g / (1 - loss_percent / 100)"
    )
    scales: list[RequestScale] = Field(
        default=[RequestScale(readability_g=ASSUMED_SCALE.readability_g)],
        min_length=1,
        max_length=100,
        description="without it one scale is assumed that reads 0.01 g and has no limit",
    )


class AnswerScale(AnswerModel):
    """The scale to use for a line."""

    readability_g: Figure
    capacity_g: Figure | None = None


class AnswerAdvice(AnswerModel):
    """What to do: a stock solution, the smallest ``batch_g`` that would do, or portions."""

    text: str
    strength_percent: Figure | None = None
    stock_g: Figure | None = None
    take_off_g: Figure | None = None
    solvent: str | None = Field(default=None, description="the line from which take_off_g is taken")
    smallest_batch_g: Figure | None = None
    portions: int | None = None


class AnswerLine(AnswerModel):
    """A line as it stands on the batch sheet."""

    id: str
    percent: Figure
    target_g: Figure
    shown_g: Figure
    scale: AnswerScale
    relative_error_percent: Figure = Field(description="distance of shown_g and target_g in % of target_g")
    advice: AnswerAdvice | None = None


class Answer(AnswerModel):
    """The shown weights sum to ``total_shown_g``, which is the weighed batch, exactly."""

    lines: list[AnswerLine]
    total_shown_g: Figure


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: when the lines do not make a formula or a value makes no sense.
    """
    phases: dict[str, list[Line]] = {}
    for line, percent in zip(request.lines, _percents(request.lines), strict=True):
        made = Line(line.id, Material(0, line.id), percent, is_remainder=line.qs)
        phases.setdefault(line.phase, []).append(made)
    weighing = weigh(
        Formula(
            phases=tuple(Phase(letter, lines=tuple(lines)) for letter, lines in phases.items()),
            size=BatchSize(request.batch_g),
            loss_percent=request.loss_percent,
            scales=tuple(Scale(scale.readability_g, scale.capacity_g) for scale in request.scales),
        )
    )
    return Answer(
        lines=[
            AnswerLine(
                id=line.line.key,
                percent=line.line.percent,
                target_g=line.target_g,
                shown_g=line.shown_g,
                scale=AnswerScale(readability_g=line.scale.readability_g, capacity_g=line.scale.capacity_g),
                relative_error_percent=line.relative_error_percent,
                advice=_advice(line),
            )
            for line in weighing.lines
        ],
        total_shown_g=weighing.total_shown_g,
    )


def _percents(lines: list[WeighLine]) -> list[Decimal]:
    """Check the lines and give each one's percentage, the q.s. remainder filled in."""
    seen: set[str] = set()
    filling: int | None = None
    for place, line in enumerate(lines):
        if line.id in seen:
            raise Invalid(f"lines[{place}].id", f"The id {line.id!r} stands on two lines; give each line its own.")
        seen.add(line.id)
        if line.qs and line.percent is not None:
            message = "A line that fills up to 100 has no percentage of its own; take one away."
            raise Invalid(f"lines[{place}].percent", message)
        if not line.qs and line.percent is None:
            raise Invalid(f"lines[{place}].percent", "Enter a percentage, or let this line fill up to 100.")
        if line.qs and filling is not None:
            message = f"Line {lines[filling].id!r} fills up to 100 already; give this one a percentage."
            raise Invalid(f"lines[{place}].qs", message)
        filling = place if line.qs else filling
    rest = remainder_percent(line.percent for line in lines if line.percent is not None)
    if filling is not None and rest < 0:
        message = f"The other lines add up to {plain(100 - rest)} %; take {plain(-rest)} away."
        raise Invalid(f"lines[{filling}].qs", message)
    return [rest if line.percent is None else line.percent for line in lines]


def _advice(line: WeighedLine) -> AnswerAdvice | None:
    if line.advice is None:
        return None
    stock = line.advice.stock
    return AnswerAdvice(
        text=line.advice.text,
        strength_percent=stock.strength_percent if stock else None,
        stock_g=stock.stock_g if stock else None,
        take_off_g=stock.take_off_g if stock else None,
        solvent=stock.solvent_key if stock else None,
        smallest_batch_g=line.advice.smallest_batch_g,
        portions=line.advice.portions,
    )
