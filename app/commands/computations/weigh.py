"""``compute weigh``: the weights of a batch on the scales there are."""

from decimal import Decimal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Id, NonNegative, Percent, Positive, RequestModel
from app.science.scales import ASSUMED_SCALE, Scale
from app.science.weighing import LineToWeigh, WeighedLine, weigh

SUMMARY = "weights for a batch that add up exactly, the scale for each, and what to do about weights too small for it"


class RequestLine(RequestModel):
    """A line: either ``percent`` or ``qs: true`` (at most one line)."""

    id: Id
    percent: Percent | None = None
    qs: bool = False
    phase: str = Field(default="", max_length=400)


class RequestScale(RequestModel):
    """A scale of the workshop."""

    readability_g: Positive
    capacity_g: Positive | None = Field(default=None, description="without it the scale has no limit")


class Request(RequestModel):
    """A formula, the batch and the scales."""

    lines: list[RequestLine] = Field(min_length=1, max_length=10_000)
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
    lines = [LineToWeigh(line.id, line.percent, line.qs, line.phase) for line in request.lines]
    scales = [Scale(scale.readability_g, scale.capacity_g) for scale in request.scales]
    weighing = weigh(lines, request.batch_g, scales, request.loss_percent)
    return Answer(lines=[_line(line) for line in weighing.lines], total_shown_g=weighing.total_shown_g)


def _line(line: WeighedLine) -> AnswerLine:
    return AnswerLine(
        id=line.id,
        percent=line.percent,
        target_g=line.target_g,
        shown_g=line.shown_g,
        scale=AnswerScale(readability_g=line.scale.readability_g, capacity_g=line.scale.capacity_g),
        relative_error_percent=line.relative_error_percent,
        advice=_advice(line),
    )


def _advice(line: WeighedLine) -> AnswerAdvice | None:
    if line.advice is None:
        return None
    stock = line.advice.stock
    return AnswerAdvice(
        text=line.advice.text,
        strength_percent=stock.strength_percent if stock else None,
        stock_g=stock.stock_g if stock else None,
        take_off_g=stock.take_off_g if stock else None,
        solvent=stock.solvent_id if stock else None,
        smallest_batch_g=line.advice.smallest_batch_g,
        portions=line.advice.portions,
    )
