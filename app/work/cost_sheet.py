"""The cost sheet as a value: what a batch and a unit cost, and what changes when more is bought at once."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize
from app.science.cost import (
    Costing,
    Job,
    MaterialCost,
    PackCost,
    PriceBreak,
    cost,
    cost_at_batches,
    net_price,
    price_for_margin,
)
from app.science.errors import Invalid
from app.science.weighing import weighed_batch
from app.store.materials import Material, Packaging, Price, PriceKind, materials_by_id, newest_price
from app.store.workshop import Workshop, the_workshop
from app.work.formulas.sound import SoundFormula, SoundLine

HUNDRED = Decimal(100)
KILOGRAM = Decimal(1000)
NUMBERS_OF_BATCHES = (1, 10, 100)
MARGINS = (Decimal(40), Decimal(50), Decimal(60), Decimal(70))


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """A material on the sheet: grams weighed, price of a kilogram, cost in the batch, share of all materials."""

    name: str
    grams: Decimal
    per_kg: Decimal | None
    amount: Decimal | None
    share_percent: Decimal


@dataclass(frozen=True, slots=True)
class PackagingRow:
    """A piece of packaging: how many a unit takes, price of one, cost in the batch."""

    name: str
    per_unit: Decimal
    each: Decimal | None
    amount: Decimal | None


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
    """Everything a cost sheet shows. With anything in ``unpriced`` (names) every cost is 'at least'."""

    formula: SoundFormula
    size: BatchSize
    job: Job
    costing: Costing
    materials: tuple[MaterialRow, ...]
    packaging: tuple[PackagingRow, ...]
    at_batches: tuple[AtBatches, ...]
    asking: tuple[AskingPrice, ...]
    unpriced: tuple[str, ...]
    net_price: Decimal | None
    has_breaks: bool


@dataclass(frozen=True, slots=True)
class _Known:
    materials: Mapping[int, Material]
    packs: Mapping[int, Packaging]
    shop: Workshop


def cost_sheet(session: Session, formula: SoundFormula, size: BatchSize, loss_percent: Decimal) -> CostSheet:
    """Cost a batch of a formula at the prices the workshop knows today.

    Raises:
        Invalid: at ``fill`` or ``batch``, when the batch does not fill one unit.
    """
    if size.fill_g is None:
        raise Invalid("fill", "Write the fill of one unit, so that a unit has a cost.")
    known = _Known(
        materials_by_id(session, {line.material_id for line in formula.lines}),
        _packaging(session, formula),
        the_workshop(session),
    )
    job = _job(formula, size, size.fill_g, loss_percent, known)
    breaks = {line.key: _breaks(known.materials[line.material_id].prices) for line in formula.lines}
    return _sheet(formula, size, job, breaks, known.packs)


def _packaging(session: Session, formula: SoundFormula) -> dict[int, Packaging]:
    ids = {pack.packaging_id for pack in formula.packaging}
    return {p.id: p for p in session.scalars(select(Packaging).where(Packaging.id.in_(ids)))}


def _job(
    formula: SoundFormula,
    size: BatchSize,
    fill_g: Decimal,
    loss_percent: Decimal,
    known: _Known,
) -> Job:
    weighed_g = weighed_batch(size.net_g, loss_percent)
    return Job(
        lines=tuple(_line(line, weighed_g, known.materials[line.material_id].prices) for line in formula.lines),
        batch_g=weighed_g,
        fill_g=fill_g,
        packaging=tuple(_pack(known.packs[p.packaging_id], p.per_unit) for p in formula.packaging if p.per_unit),
        labour_minutes=formula.labour_minutes,
        labour_rate=known.shop.labour_rate,
        overhead_percent=known.shop.overhead_percent,
        loss_percent=loss_percent,
        price=formula.price or None,
        tax_percent=known.shop.tax_percent,
    )


def _line(line: SoundLine, weighed_g: Decimal, prices: Iterable[Price]) -> MaterialCost:
    grams = weighed_g * line.percent / HUNDRED
    price = newest_price(prices)
    return (
        MaterialCost(line.key, grams, price.amount, price.quantity_g)
        if price
        else MaterialCost(line.key, grams, None, KILOGRAM)
    )


def _pack(pack: Packaging, per_unit: Decimal) -> PackCost:
    return PackCost(f"pack-{pack.id}", pack.units_per_pack / per_unit, pack.price)


def _breaks(prices: Iterable[Price]) -> tuple[PriceBreak, ...]:
    return tuple(PriceBreak(p.quantity_g, p.amount, p.quantity_g) for p in prices if p.kind is PriceKind.OFFERED)


def _sheet(
    formula: SoundFormula,
    size: BatchSize,
    job: Job,
    breaks: Mapping[str, tuple[PriceBreak, ...]],
    packs: Mapping[int, Packaging],
) -> CostSheet:
    costing = cost(job)
    names = {line.key: line.name for line in formula.lines} | {f"pack-{p.id}": p.name for p in packs.values()}
    unit_cost = costing.per_unit.total
    return CostSheet(
        formula=formula,
        size=size,
        job=job,
        costing=costing,
        materials=tuple(_material_rows(job, costing, names)),
        packaging=tuple(_packaging_rows(formula, packs, costing.units)),
        at_batches=tuple(AtBatches(n, cost_at_batches(job, breaks, n)) for n in NUMBERS_OF_BATCHES),
        asking=tuple(AskingPrice(m, price_for_margin(unit_cost, m, job.tax_percent)) for m in MARGINS),
        unpriced=tuple(dict.fromkeys(names[key] for key in costing.unpriced)),
        net_price=net_price(job.price, job.tax_percent) if job.price else None,
        has_breaks=any(breaks.values()),
    )


def _material_rows(job: Job, costing: Costing, names: Mapping[str, str]) -> Iterable[MaterialRow]:
    shares = {share.id: share.percent for share in costing.shares}
    for line in job.lines:
        per_kg = None if line.price is None else line.price / line.price_for_g * KILOGRAM
        amount = None if per_kg is None else per_kg * line.grams / KILOGRAM
        yield MaterialRow(names[line.id], line.grams, per_kg, amount, shares[line.id])


def _packaging_rows(formula: SoundFormula, packs: Mapping[int, Packaging], units: int) -> Iterable[PackagingRow]:
    for used in formula.packaging:
        pack = packs[used.packaging_id]
        each = None if pack.price is None else pack.price / pack.units_per_pack
        amount = None if each is None else each * used.per_unit * units
        yield PackagingRow(pack.name, used.per_unit, each, amount)
