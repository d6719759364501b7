"""What to do when a weight is too small for the scales, or too large: a stock solution, a larger batch, portions."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.numbers import ceil_to_step, figures, plain, to_step
from app.science.scales import FEWEST_STEPS, Scale, ScaleChoice, choose, least_resolved_g

HUNDRED = Decimal(100)
# A stock solution is weighed five times better than the limit where the solvent line allows it.
COMFORTABLE_STEPS = 5 * FEWEST_STEPS
STRENGTHS_PERCENT = tuple(map(Decimal, ("10", "5", "2", "1", "0.5", "0.2", "0.1", "0.05", "0.02", "0.01")))


@dataclass(frozen=True, slots=True)
class StockSolution:
    """A dilution of the material in the solvent line, ``strength_percent`` % w/w.

    Weigh ``stock_g`` of it in place of the material and take ``take_off_g`` off the line ``solvent_key`` (of the
    material ``solvent``). To make it, weigh ``make_material_g`` of the material and bring it to ``make_total_g`` with
    the solvent.
    """

    strength_percent: Decimal
    stock_g: Decimal
    take_off_g: Decimal
    solvent_key: str
    solvent: str
    make_material_g: Decimal
    make_total_g: Decimal


@dataclass(frozen=True, slots=True)
class WeighingAdvice:
    """What to do about a weight: a stock solution, the smallest batch that would do, or weighing in portions."""

    text: str
    stock: StockSolution | None = None
    smallest_batch_g: Decimal | None = None
    portions: int | None = None


@dataclass(frozen=True, slots=True)
class SolventLine:
    """The line from which the solvent of a stock solution is taken, and how much of it the sheet shows (g).

    ``is_sure`` when the material is known to dissolve in it.
    """

    key: str
    name: str
    grams: Decimal
    is_sure: bool = False


def advise_portions(grams: Decimal, choice: ScaleChoice) -> WeighingAdvice:
    """Return how a weight above every capacity is weighed."""
    capacity = plain(choice.scale.capacity_g or grams)
    text = (
        f"{plain(to_step(grams, choice.scale.readability_g))} g is more than the largest scale holds ({capacity} g); "
        f"weigh it in {choice.portions} portions."
    )
    return WeighingAdvice(text, portions=choice.portions)


def advise_small(
    name: str, target_g: Decimal, batch_g: Decimal, scales: Sequence[Scale], solvent: SolventLine | None
) -> WeighingAdvice:
    """Return what to do about a weight of a material, above 0, that its scale does not resolve within 5 %.

    ``batch_g`` is the batch as it was asked for (before loss is added); the smallest batch is meant in the same sense.
    """
    finest = min(scale.readability_g for scale in scales)
    smallest = ceil_to_step(batch_g * least_resolved_g(scales) / target_g, finest)
    stock = _stock(target_g, scales, solvent, smallest) if solvent is not None else None
    readability = choose(target_g, scales).scale.readability_g
    text = f"{figures(target_g, 3)} g is too little for a scale that reads {plain(readability)} g"
    text += " (more than 5 % uncertain). "
    if stock is not None and solvent is not None:
        text += "Make" if solvent.is_sure else f"If it dissolves in {stock.solvent}, make"
        text += (
            f" a {plain(stock.strength_percent)} % stock solution: {plain(stock.make_material_g)} g {name} brought to "
            f"{plain(stock.make_total_g)} g with {stock.solvent}. Weigh {plain(stock.stock_g)} g of it here and "
            f"{plain(stock.take_off_g)} g less {stock.solvent}. Or make a batch of at least {plain(smallest)} g."
        )
    else:
        text += f"Make a batch of at least {plain(smallest)} g, or use a finer scale."
    return WeighingAdvice(text, stock, smallest)


def _stock(target_g: Decimal, scales: Sequence[Scale], solvent: SolventLine, most_g: Decimal) -> StockSolution | None:
    """Take the strongest dilution that weighs well; failing that, the weakest that the solvent line has room for.

    A stock of which ``most_g`` or more would have to be made is no help.
    """
    found = [_diluted(target_g, strength, scales, solvent) for strength in STRENGTHS_PERCENT]
    possible = [stock for stock in found if stock is not None and stock.make_total_g < most_g]
    for stock in possible:
        if stock.stock_g >= COMFORTABLE_STEPS * choose(stock.stock_g, scales).scale.readability_g:
            return stock
    return possible[-1] if possible else None


def _diluted(
    target_g: Decimal, strength: Decimal, scales: Sequence[Scale], solvent: SolventLine
) -> StockSolution | None:
    exact_g = target_g * HUNDRED / strength
    choice = choose(exact_g, scales)
    step = choice.scale.readability_g
    take_off_g = to_step(exact_g - target_g, step)
    if choice.portions > 1 or exact_g < FEWEST_STEPS * step or take_off_g > solvent.grams:
        return None
    material_g = max(COMFORTABLE_STEPS * min(scale.readability_g for scale in scales), ceil_to_step(target_g, step))
    return StockSolution(
        strength,
        to_step(exact_g, step),
        take_off_g,
        solvent.key,
        solvent.name,
        material_g,
        material_g * HUNDRED / strength,
    )
