"""``compute cost``: what a batch and a unit cost, and the margin at a price."""

from typing import Annotated

from babel.numbers import list_currencies
from pydantic import AfterValidator, Field

from app.commands.computations._base import (
    AnswerModel,
    Figure,
    Id,
    NonNegative,
    Positive,
    RequestModel,
)
from app.science.cost import Amounts, Job, MaterialCost, PackCost, cost

SUMMARY = "cost of a batch and of a unit: materials, packaging, labour, overhead, loss; share of each material; margin"


def _currency(value: str) -> str:
    code = value.upper()
    if code not in list_currencies():
        raise ValueError("write the three letters of a currency, such as EUR or USD")
    return code


Currency = Annotated[str, AfterValidator(_currency)]


class CostLine(RequestModel):
    """A material: grams weighed in, and the price paid for ``price_for_g`` grams."""

    id: Id
    grams: NonNegative
    price: NonNegative
    price_for_g: Positive


class RequestPack(RequestModel):
    """A packaging item, one a unit; ``price`` buys ``units_per_pack`` of them."""

    id: Id
    units_per_pack: Positive
    price: NonNegative


class Request(RequestModel):
    """A batch to be costed."""

    lines: list[CostLine] = Field(min_length=1, max_length=10_000)
    packaging: list[RequestPack] = Field(max_length=10_000)
    labour_minutes: NonNegative = Field(description="for the whole batch")
    labour_rate: NonNegative = Field(description="for an hour")
    overhead_percent: NonNegative = Field(description="of materials, packaging and labour together")
    batch_g: Positive = Field(description="grams weighed in, before the loss")
    loss_percent: NonNegative = Field(lt=100)
    fill_g: Positive = Field(description="grams in a unit; units = floor(batch_g x (1 - loss_percent/100) / fill_g)")
    price: Positive | None = Field(default=None, description="what a buyer pays for a unit, tax included")
    tax_percent: NonNegative | None = Field(default=None, description="tax on the net price; 0 without it")
    currency: Currency = Field(description="ISO 4217, such as EUR")


class AnswerAmounts(AnswerModel):
    """Money by kind, exact (not rounded to the currency)."""

    materials: Figure
    packaging: Figure
    labour: Figure
    overhead: Figure
    total: Figure


class AnswerShare(AnswerModel):
    """The share of a line in the cost of all materials."""

    id: str
    percent: Figure


class Answer(AnswerModel):
    """The cost of the batch, and of each of its units."""

    units: int
    per_unit: AnswerAmounts
    batch: AnswerAmounts
    margin_percent: Figure | None = Field(default=None, description="(net price - cost) / net price, with a price only")
    share: list[AnswerShare]


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: when a value makes no sense or the batch does not fill one unit.
    """
    found = cost(
        Job(
            lines=tuple(MaterialCost(line.id, line.grams, line.price, line.price_for_g) for line in request.lines),
            packaging=tuple(PackCost(pack.id, pack.units_per_pack, pack.price) for pack in request.packaging),
            labour_minutes=request.labour_minutes,
            labour_rate=request.labour_rate,
            overhead_percent=request.overhead_percent,
            batch_g=request.batch_g,
            loss_percent=request.loss_percent,
            fill_g=request.fill_g,
            price=request.price,
            **({"tax_percent": request.tax_percent} if request.tax_percent is not None else {}),
        )
    )
    return Answer(
        units=found.units,
        per_unit=_amounts(found.per_unit),
        batch=_amounts(found.batch),
        margin_percent=found.margin_percent,
        share=[AnswerShare(id=share.id, percent=share.percent) for share in found.shares],
    )


def _amounts(amounts: Amounts) -> AnswerAmounts:
    return AnswerAmounts(
        materials=amounts.materials,
        packaging=amounts.packaging,
        labour=amounts.labour,
        overhead=amounts.overhead,
        total=amounts.total,
    )
