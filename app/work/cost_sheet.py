"""The cost sheet as a value: what a batch and a unit cost, and what changes when more is bought at once.

Every figure that is printed is rounded here, so that the parts of each table add up to its printed total.
"""

from dataclasses import dataclass
from decimal import Decimal

from app.science.cost import Amounts, Costing, Job, net_price, price_for_margin, rounded
from app.science.errors import Invalid
from app.science.formula import HUNDRED, Formula
from app.science.formula_cost import cost_formula, job_of, names_without_price, packs_of
from app.science.numbers import exact_arithmetic
from app.science.weighing import Weighing, weigh

KILOGRAM = Decimal(1000)
NUMBERS_OF_BATCHES = (1, 10, 100)
MARGINS = (Decimal(40), Decimal(50), Decimal(60), Decimal(70))
SHARE_DIGITS = 1


@dataclass(frozen=True, slots=True)
class CostedMaterial:
    """A material on the sheet: grams weighed, price of a kilogram, cost in the batch, share of all materials."""

    name: str
    grams: Decimal
    places: int
    per_kg: Decimal | None
    amount: Decimal | None
    share_percent: Decimal


@dataclass(frozen=True, slots=True)
class CostedPackaging:
    """A piece of packaging: how many a unit takes, price of one, cost in the batch."""

    name: str
    per_unit: Decimal
    each: Decimal | None
    amount: Decimal | None


@dataclass(frozen=True, slots=True)
class KindRow:
    """One kind of cost, printed: ``materials``, ``packaging``, ``labour`` or ``overhead``; ``share_percent`` of all.

    It ``is_least`` what it comes to while something that counts into it has no price.
    """

    kind: str
    unit: Decimal
    batch: Decimal
    share_percent: Decimal
    is_least: bool


@dataclass(frozen=True, slots=True)
class AtBatches:
    """What a unit costs when the materials for so many batches are bought at once."""

    batches: int
    costing: Costing


@dataclass(frozen=True, slots=True)
class AskingPrice:
    """The price with tax at which a unit keeps a margin."""

    margin_percent: Decimal
    price: Decimal


@dataclass(frozen=True, slots=True)
class CostSheet:
    """Everything a cost sheet shows. With anything in ``unpriced`` (names) every cost is 'at least'.

    ``unit`` and ``batch`` are the printed amounts: rounded to the currency, their parts making up their totals.
    """

    formula: Formula
    weighing: Weighing
    job: Job
    costing: Costing
    unit: Amounts
    batch: Amounts
    kinds: tuple[KindRow, ...]
    materials: tuple[CostedMaterial, ...]
    packaging: tuple[CostedPackaging, ...]
    at_batches: tuple[AtBatches, ...]
    asking: tuple[AskingPrice, ...]
    unpriced: tuple[str, ...]
    net_price: Decimal | None

    @property
    def has_breaks(self) -> bool:
        """Whether a price for another amount is known, so that buying more at once can cost less."""
        return any(len(line.material.prices) > 1 for line in self.formula.lines)

    @property
    def currency(self) -> str:
        """The currency of every amount, ISO 4217."""
        return self.formula.rates.currency


def cost_sheet(formula: Formula) -> CostSheet:
    """Return what a formula costs at its batch size, at the prices it carries.

    Raises:
        Invalid: at ``size`` or ``fill``, when they are missing or the batch does not fill one unit.
    """
    if formula.size is None or formula.size.fill_g is None:
        raise Invalid("fill", "Enter the fill per unit, so that a unit has a cost.")
    weighing = weigh(formula)
    try:
        costing = cost_formula(formula, weighing)
    except Invalid as fault:
        raise Invalid("fill", fault.message) from fault
    job, digits = job_of(formula, weighing), formula.rates.digits
    unit, batch = printed(costing.per_unit, digits), printed(costing.batch, digits)
    materials = _material_rows(formula, weighing, job, costing, batch.materials)
    packaging = _packaging_rows(formula, job, costing.units, batch.packaging)
    return CostSheet(
        formula=formula,
        weighing=weighing,
        job=job,
        costing=costing,
        unit=unit,
        batch=batch,
        kinds=_kinds(costing.batch, unit, batch, materials, packaging),
        materials=materials,
        packaging=packaging,
        at_batches=tuple(AtBatches(n, cost_formula(formula, weighing, n)) for n in NUMBERS_OF_BATCHES),
        asking=tuple(AskingPrice(m, price_for_margin(unit.total, m, job.tax_percent)) for m in MARGINS),
        unpriced=names_without_price(formula, costing),
        net_price=net_price(job.price, job.tax_percent) if job.price else None,
    )


def printed(amounts: Amounts, digits: int) -> Amounts:
    """Return amounts rounded to the decimals of a currency, the parts making up the total rounded half up."""
    return Amounts(*rounded(amounts.parts, amounts.total, digits))


def _kinds(
    exact: Amounts,
    unit: Amounts,
    batch: Amounts,
    materials: tuple[CostedMaterial, ...],
    packaging: tuple[CostedPackaging, ...],
) -> tuple[KindRow, ...]:
    with exact_arithmetic():
        shares = [HUNDRED * part / exact.total if exact.total else Decimal(0) for part in exact.parts]
    names = ("materials", "packaging", "labour", "overhead")
    unpriced = any(row.per_kg is None for row in materials), any(row.each is None for row in packaging)
    # Overhead is a part of all the others.
    least = (*unpriced, False, any(unpriced))
    return tuple(KindRow(*row) for row in zip(names, unit.parts, batch.parts, _shares(shares), least, strict=True))


def _shares(shares: list[Decimal]) -> tuple[Decimal, ...]:
    """Round shares in % so that they still make 100, or 0 where nothing costs anything."""
    return rounded(shares, HUNDRED if any(shares) else Decimal(0), SHARE_DIGITS)


def _material_rows(
    formula: Formula, weighing: Weighing, job: Job, costing: Costing, total: Decimal
) -> tuple[CostedMaterial, ...]:
    exact = [None if line.price is None else line.grams * line.price / line.price_for_g for line in job.lines]
    amounts = _make_up(exact, total, formula.rates.digits)
    shares = _shares([share.percent for share in costing.shares])
    return tuple(
        CostedMaterial(
            name=weighed.line.name,
            grams=weighed.weigh_g,
            places=weighed.scale.places,
            per_kg=None if line.price is None else line.price / line.price_for_g * KILOGRAM,
            amount=amount,
            share_percent=share,
        )
        for weighed, line, amount, share in zip(weighing.lines, job.lines, amounts, shares, strict=True)
    )


def _packaging_rows(formula: Formula, job: Job, units: int, total: Decimal) -> tuple[CostedPackaging, ...]:
    used = [use.packaging for use in packs_of(formula)] if job.packaging else []
    per_unit = [None if pack.price is None else pack.price / pack.units_per_pack for pack in job.packaging]
    amounts = _make_up([None if one is None else one * units for one in per_unit], total, formula.rates.digits)
    return tuple(
        CostedPackaging(pack.name, pack.per_unit, None if one is None else one / pack.per_unit, amount)
        for pack, one, amount in zip(used, per_unit, amounts, strict=True)
    )


def _make_up(exact: list[Decimal | None], total: Decimal, digits: int) -> list[Decimal | None]:
    """Round amounts so that those that are known make up a printed total."""
    known = iter(rounded([amount for amount in exact if amount is not None], total, digits))
    return [None if amount is None else next(known) for amount in exact]
