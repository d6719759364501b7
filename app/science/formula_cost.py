"""The cost of a formula at its batch size: which price applies to each material, and what a batch and a unit cost.

Prices (common practice):
- What was paid stands until something newer was paid for a comparable amount (within a factor of five); a small
  sample so never takes the place of a drum, nor a drum that of a sample.
- An offer applies where its whole pack costs no more than the amount needed would at what is usual.
- Of what applies, the least counts; so a gram never costs more because more is bought.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from app.science.cost import Costing, Job, MaterialCost, PackCost, cost
from app.science.formula import Formula, Packaging, Price
from app.science.numbers import exact_arithmetic
from app.science.weighing import Weighing

COMPARABLE = Decimal(5)
KILOGRAM = Decimal(1000)
ZERO = Decimal(0)


def price_for(prices: Sequence[Price], grams: Decimal) -> Price | None:
    """Return the price that applies to so many grams (0 or more) bought at once; None when none is known.

    The price of a gram never rises with the grams.
    """
    paid = _current([price for price in prices if not price.is_offer])
    offers = sorted(_current([price for price in prices if price.is_offer]), key=lambda price: price.quantity_g)
    if not paid and not offers:
        return None
    with exact_arithmetic():
        # With nothing paid, the smallest pack has to be bought.
        usual = min(paid or offers[:1], key=lambda price: price.per_g)
        # That holds for every offer of at most that amount which is the better price.
        reached = (offer for offer in offers if offer.amount <= usual.per_g * grams)
        return min((usual, *reached), key=lambda price: price.per_g)


def _current(prices: Sequence[Price]) -> list[Price]:
    """Leave out every price that a newer one for a comparable amount replaced."""
    newest_first = sorted(prices, key=lambda price: price.day or date.min, reverse=True)
    kept: list[Price] = []
    for price in newest_first:
        if all(not _comparable(price, newer) for newer in kept):
            kept.append(price)
    return kept


def _comparable(one: Price, other: Price) -> bool:
    small, large = sorted((one.quantity_g, other.quantity_g))
    if one.is_offer:
        return small == large
    return large <= COMPARABLE * small


@dataclass(frozen=True, slots=True)
class PackUse:
    """A piece of packaging with the key under which its cost stands."""

    key: str
    packaging: Packaging


def packs_of(formula: Formula) -> tuple[PackUse, ...]:
    """Return the packaging that a unit takes, each with its key; what a unit takes none of is left out."""
    used = (pack for pack in formula.packaging if pack.per_unit)
    return tuple(PackUse(f"pack-{place}", pack) for place, pack in enumerate(used))


def job_of(formula: Formula, weighing: Weighing, batches: int = 1) -> Job:
    """Return what is to be costed: a batch as weighed, at the prices for so many batches bought at once.

    Without a fill the whole batch counts as one unit.
    """
    with exact_arithmetic():
        lines = tuple(
            _material_cost(weighed.line.key, weighed.line.material.prices, weighed.target_g, batches)
            for weighed in weighing.lines
        )
        left_g = weighing.total_shown_g * (1 - formula.loss_percent / 100)
    rates, size = formula.rates, formula.size
    return Job(
        lines=lines,
        batch_g=weighing.total_shown_g,
        fill_g=size.fill_g if size and size.fill_g else left_g,
        packaging=tuple(_pack(use, (size.units or 1) * batches) for use in packs_of(formula))
        if size and size.fill_g
        else (),
        labour_minutes=formula.labour_minutes,
        labour_rate=rates.labour_rate,
        overhead_percent=rates.overhead_percent,
        loss_percent=formula.loss_percent,
        price=formula.price or None,
        tax_percent=rates.tax_percent,
    )


def _material_cost(key: str, prices: Sequence[Price], grams: Decimal, batches: int) -> MaterialCost:
    price = price_for(prices, grams * batches)
    if price is None:
        return MaterialCost(key, grams, None, KILOGRAM)
    return MaterialCost(key, grams, price.amount, price.quantity_g)


def _pack(use: PackUse, units: int) -> PackCost:
    """A unit that takes two of a kind takes one of half a pack; the price is that for all units bought at once."""
    pack = use.packaging
    price = price_for(pack.prices, units * pack.per_unit)
    if price is not None:
        return PackCost(use.key, price.quantity_g / pack.per_unit, price.amount)
    return PackCost(use.key, pack.units_per_pack / pack.per_unit, pack.price)


def cost_formula(formula: Formula, weighing: Weighing, batches: int = 1) -> Costing:
    """Return what a number of like batches (1 or more) cost that are made from one purchase.

    Units are those of one batch times the number, since each batch is filled by itself.

    Raises:
        Invalid: at ``fill_g``, when the batch does not fill one unit, or at a field whose value makes no sense.
    """
    one = cost(job_of(formula, weighing, batches))
    if batches == 1:
        return one
    return replace(one, units=one.units * batches, batch=one.batch.times(Decimal(batches)))


def without_units(formula: Formula) -> Formula:
    """Return the formula without a fill and without packaging, so that its whole batch counts as one unit."""
    size = formula.size and replace(formula.size, fill_g=None, units=None)
    return replace(formula, size=size, packaging=(), price=None)


def names_without_price(formula: Formula, costing: Costing) -> tuple[str, ...]:
    """Return the names of the materials and the packaging that have no price, each once."""
    names = {line.key: line.name for line in formula.lines}
    names |= {use.key: use.packaging.name for use in packs_of(formula)}
    return tuple(dict.fromkeys(names[key] for key in costing.unpriced))
