"""What a batch and a unit of it cost. Money is an exact decimal in one currency; :func:`rounded` prints it.

Definitions (common practice):
- units = whole fills in the batch after loss: floor(batch x (1 - loss) / fill);
- materials = sum of grams weighed x price / grams bought for it; packaging = one of each item a unit;
- labour = minutes / 60 x rate per hour, a batch; overhead = its percentage of materials + packaging + labour;
- a unit bears its share of the whole batch, so unit x units = batch to the last digit that division allows;
- margin = (net price - cost) / net price, where net price = price with tax / (1 + tax).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, floor_to_step, plain, to_places

HUNDRED = Decimal(100)
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class MaterialCost:
    """Grams weighed in, and what was paid for how many grams; ``price`` is None while unknown."""

    id: str
    grams: Decimal
    price: Decimal | None
    price_for_g: Decimal


@dataclass(frozen=True, slots=True)
class PackCost:
    """A packaging item of which each unit takes one; ``price`` buys ``units_per_pack`` of them, None while unknown."""

    id: str
    units_per_pack: Decimal
    price: Decimal | None


@dataclass(frozen=True, slots=True)
class Job:
    """A batch to be costed: ``batch_g`` as weighed, ``loss_percent`` 0 to <100, ``labour_rate`` per hour.

    ``price`` is what the buyer pays for a unit, tax of ``tax_percent`` included.
    """

    lines: tuple[MaterialCost, ...]
    batch_g: Decimal
    fill_g: Decimal
    packaging: tuple[PackCost, ...] = ()
    labour_minutes: Decimal = ZERO
    labour_rate: Decimal = ZERO
    overhead_percent: Decimal = ZERO
    loss_percent: Decimal = ZERO
    price: Decimal | None = None
    tax_percent: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Amounts:
    """Money by kind."""

    materials: Decimal
    packaging: Decimal
    labour: Decimal
    overhead: Decimal

    @property
    def parts(self) -> tuple[Decimal, Decimal, Decimal, Decimal]:
        """The four amounts of money in their order."""
        return self.materials, self.packaging, self.labour, self.overhead

    @property
    def total(self) -> Decimal:
        """The sum of the four, in their currency."""
        with exact_arithmetic():
            return sum(self.parts, ZERO)

    def times(self, factor: Decimal) -> "Amounts":
        """Return each amount times a factor, such as a share (0..1) or a number of units."""
        with exact_arithmetic():
            return Amounts(
                self.materials * factor, self.packaging * factor, self.labour * factor, self.overhead * factor
            )


@dataclass(frozen=True, slots=True)
class CostShare:
    """The share of a line in the cost of all materials, 0 to 100 %."""

    id: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Costing:
    """What a job costs. With anything in ``unpriced`` (ids) every amount is 'at least' and the margin 'at most'."""

    units: int
    per_unit: Amounts
    batch: Amounts
    shares: tuple[CostShare, ...]
    materials_per_kg: Decimal
    margin_percent: Decimal | None = None
    unpriced: tuple[str, ...] = field(default=())

    @property
    def at_least(self) -> bool:
        """Return whether a price is missing, so that the real cost is higher."""
        return bool(self.unpriced)


def cost(job: Job) -> Costing:
    """Cost a job.

    Raises:
        Invalid: at the field, when a value makes no sense or the batch does not fill one unit.
    """
    with exact_arithmetic():
        units = units_filled(job.batch_g, job.loss_percent, job.fill_g)
        prices = []
        for position, line in enumerate(job.lines):
            if line.price_for_g <= 0:
                raise Invalid(f"lines[{position}].price_for_g", "Enter for how many grams the price is, above 0.")
            _not_negative(line.grams, f"lines[{position}].grams")
            _not_negative(line.price or ZERO, f"lines[{position}].price")
            prices.append(line.grams * (line.price or ZERO) / line.price_for_g)
        minutes, rate = (_not_negative(getattr(job, name), name) for name in ("labour_minutes", "labour_rate"))
        packaging = units * sum((_pack_cost(pack, position) for position, pack in enumerate(job.packaging)), ZERO)
        labour = minutes * rate / 60
        total = sum(prices, ZERO)
        overhead = (total + packaging + labour) * _not_negative(job.overhead_percent, "overhead_percent") / HUNDRED
        batch = Amounts(total, packaging, labour, overhead)
        return Costing(
            units=units,
            per_unit=batch.times(1 / Decimal(units)),
            batch=batch,
            shares=tuple(
                CostShare(line.id, HUNDRED * price / total if total else ZERO)
                for line, price in zip(job.lines, prices, strict=True)
            ),
            materials_per_kg=1000 * batch.materials / job.batch_g,
            margin_percent=_margin(job, batch.total / units),
            unpriced=(
                *(line.id for line in job.lines if line.price is None),
                *(piece.id for piece in job.packaging if piece.price is None),
            ),
        )


def units_filled(batch_g: Decimal, loss_percent: Decimal, fill_g: Decimal) -> int:
    """Count the whole fills in a weighed batch after its loss.

    Raises:
        Invalid: when the batch or fill is not above 0 g, the loss not 0 to <100 %, or not even one unit is filled.
    """
    for name, value in (("batch_g", batch_g), ("fill_g", fill_g)):
        if value <= 0:
            raise Invalid(name, "The weight must be above 0 g.")
    if not 0 <= loss_percent < HUNDRED:
        raise Invalid("loss_percent", "The loss must be 0 % or more and less than 100 %.")
    with exact_arithmetic():
        left_g = batch_g * (1 - loss_percent / HUNDRED)
        units = int(floor_to_step(left_g, fill_g) / fill_g)
    if not units:
        raise Invalid("fill_g", f"{plain(left_g)} g are left of the batch, less than one fill of {plain(fill_g)} g.")
    return units


def _not_negative(value: Decimal, name: str) -> Decimal:
    if value < 0:
        raise Invalid(name, f"{plain(value)} is negative; enter 0 or more.")
    return value


def _pack_cost(pack: PackCost, position: int) -> Decimal:
    if pack.units_per_pack <= 0:
        raise Invalid(f"packaging[{position}].units_per_pack", "Enter how many are in the pack, above 0.")
    return _not_negative(pack.price or ZERO, f"packaging[{position}].price") / pack.units_per_pack


def _margin(job: Job, unit_cost: Decimal) -> Decimal | None:
    if job.price is None:
        return None
    net = net_price(job.price, job.tax_percent)
    return HUNDRED * (net - unit_cost) / net


def net_price(price: Decimal, tax_percent: Decimal) -> Decimal:
    """Take the tax out of a price: net = price / (1 + tax).

    Raises:
        Invalid: when the price is not above 0 or the tax is negative.
    """
    if price <= 0:
        raise Invalid("price", "The price must be above 0.")
    return price / (1 + _not_negative(tax_percent, "tax_percent") / HUNDRED)


def price_for_margin(unit_cost: Decimal, margin_percent: Decimal, tax_percent: Decimal = ZERO) -> Decimal:
    """Return the price with tax at which a unit keeps a margin (below 100 %): price = cost / (1 - margin) x (1 + tax).

    ``unit_cost`` and the price are money of one currency, not rounded.

    Raises:
        Invalid: when the margin is 100 % or more, or the tax negative.
    """
    if margin_percent >= HUNDRED:
        raise Invalid("margin_percent", "A margin must be below 100 %.")
    tax = _not_negative(tax_percent, "tax_percent")
    return unit_cost / (1 - margin_percent / HUNDRED) * (1 + tax / HUNDRED)


def rounded(parts: Sequence[Decimal], total: Decimal, digits: int) -> tuple[Decimal, ...]:
    """Return parts rounded so that they add up to their total rounded half up (largest remainder).

    ``digits`` are the decimals of the currency. Every part is within one unit of its last digit.
    """
    step = Decimal(1).scaleb(-digits)
    with exact_arithmetic():
        whole = [floor_to_step(part, step) for part in parts]
        spare = int((to_places(total, digits) - sum(whole, ZERO)) / step)
        by_remainder = sorted(range(len(parts)), key=lambda place: whole[place] - parts[place])
        for place in by_remainder[: max(spare, 0)]:
            whole[place] += step
    return tuple(whole)
