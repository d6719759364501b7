"""What a batch and its units cost in fact, from their lots, beside what was planned."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.actual_cost import Spent, known_total, run_amounts, share_of_lot, with_overhead
from app.science.cost import Amounts, Costing, rounded
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.formula_cost import cost_formula, price_for
from app.science.numbers import exact_arithmetic, to_places
from app.store.batches import Batch
from app.store.labour import worked_times
from app.store.materials import MaterialRow, PackagingRow
from app.store.packing import PackingRun, RunState
from app.store.products import Product
from app.store.stock import Lot, MoveKind, StockMove, lots_by_id
from app.work.batches.loading import load_batch
from app.work.batches.planned_sheet import formula_of_batch, planned_weighing
from app.work.batches.sections import Section, add
from app.work.packing.packaging_lots import PackagingPiece, pieces_of
from app.work.packing.runs import nominal_g
from app.work.pricing import PriceBook, price_book, received_amounts
from app.work.products.selling import for_product, setting_of

ZERO = Decimal(0)
DEEPEST = 8  # batches made of batches; a circle ends here
BY_LOT, BY_PRICE, MADE_HERE, UNKNOWN = "paid for the lot", "price list", "made here", "no price"
KINDS = ("Materials", "Packaging", "Labour", "Overhead")


@dataclass(frozen=True, slots=True)
class RunCost:
    """What a packing run cost: its packaging, its amounts, and its good units; ``planned`` is for one unit of it."""

    number: str
    product: str
    units: int
    packaging: tuple[Spent, ...]
    amounts: Amounts
    planned: Costing | None

    @property
    def per_unit(self) -> Amounts | None:
        """What a good unit cost; None while there is none."""
        return self.amounts.times(1 / Decimal(self.units)) if self.units else None


@dataclass(frozen=True, slots=True)
class BatchCost:
    """What a batch cost in fact, and what was planned for it; None where the plan cannot be costed.

    ``minutes`` are those that were noted for the batch and its runs; None where nobody noted any, so that the planned
    ones count.
    """

    batch: Batch
    materials: tuple[Spent, ...]
    amounts: Amounts
    planned: Costing | None
    runs: tuple[RunCost, ...]
    currency: str
    digits: int
    minutes: int | None = None
    planned_minutes: Decimal = ZERO

    @property
    def packaging(self) -> tuple[Spent, ...]:
        """The packaging of every run."""
        return tuple(one for run in self.runs for one in run.packaging)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What nothing says the cost of, each name once; every amount is then 'at least'."""
        return tuple(dict.fromkeys(one.name for one in (*self.materials, *self.packaging) if one.cost is None))

    @property
    def columns(self) -> tuple[tuple[str, tuple[Decimal, ...], bool], ...]:
        """The amounts by kind and their total, rounded so that each column adds up, and whether they are 'at least'."""
        short = bool(self.unpriced)
        found = [_plan("Batch planned", self.planned, "batch"), ("Batch as made", self.amounts, short)]
        for run in self.runs:
            found.append(_plan(f"Unit planned, {run.number}", run.planned, "per_unit"))
            found.append((f"Unit as made, {run.number}", run.per_unit, short))
        return tuple((words, self._printed(one), least) for words, one, least in found if one is not None)

    def _printed(self, amounts: Amounts) -> tuple[Decimal, ...]:
        total = to_places(amounts.total, self.digits)
        return (*rounded(amounts.parts, amounts.total, self.digits), total)

    def rows(self, spent: Sequence[Spent], total: Decimal) -> list[tuple[Spent, Decimal | None]]:
        """Return lines with their cost rounded so that they add up to a total as it is printed."""
        known = iter(rounded([one.cost for one in spent if one.cost is not None], total, self.digits))
        return [(one, None if one.cost is None else next(known)) for one in spent]

    @property
    def material_rows(self) -> list[tuple[Spent, Decimal | None]]:
        """The materials with their printed cost."""
        return self.rows(self.materials, self._printed(self.amounts)[0])

    @property
    def packaging_rows(self) -> list[tuple[Spent, Decimal | None]]:
        """The packaging with its printed cost."""
        return self.rows(self.packaging, self._printed(self.amounts)[1])


def _plan(words: str, costing: Costing | None, what: str) -> tuple[str, Amounts | None, bool]:
    return (words, getattr(costing, what), costing.at_least) if costing else (words, None, False)


@dataclass(slots=True)
class _Ledger:
    """What is known of lots while one batch is costed: what came of them, and what a gram made here cost."""

    session: Session
    book: PriceBook
    came: dict[int, Decimal]
    made: dict[int, Decimal | None] = field(default_factory=dict)

    def cost(self, lot: Lot, amount: Decimal, deep: int) -> tuple[Decimal | None, str]:
        """Return what an amount of a lot cost, and what says so."""
        if lot.from_batch_id is not None:
            each = self._made_each(lot.from_batch_id, deep)
            return (None if each is None else amount * each), MADE_HERE
        paid = None if lot.paid is None else self.book.exchange.at_home(lot.paid, lot.currency, lot.received_on)
        came = self.came.get(lot.id)
        if paid is not None and came:
            return share_of_lot(amount, paid, came), BY_LOT
        return self.listed(lot.material or lot.packaging, amount)

    def listed(self, thing: MaterialRow | PackagingRow | None, amount: Decimal) -> tuple[Decimal | None, str]:
        """Return what an amount costs by the price list."""
        if thing is None:
            return None, UNKNOWN
        book = self.book
        prices = book.of_material(thing) if isinstance(thing, MaterialRow) else book.of_packaging(thing)
        price = price_for(prices, amount)
        return (None, UNKNOWN) if price is None else (amount * price.per_g, BY_PRICE)

    def _made_each(self, batch_id: int, deep: int) -> Decimal | None:
        """Return what a gram of what a batch made cost: materials over what was made of it."""
        if batch_id in self.made or deep >= DEEPEST:
            return self.made.get(batch_id)
        self.made[batch_id] = None
        batch = load_batch(self.session, batch_id)
        spent = _materials(self, batch, deep + 1)
        lots = select(Lot.id).where(Lot.from_batch_id == batch_id)
        moves = select(StockMove.amount).where(StockMove.lot_id.in_(lots), StockMove.kind == MoveKind.MADE)
        whole = batch.yield_g or sum(self.session.scalars(moves), ZERO)
        if whole and all(one.cost is not None for one in spent):
            self.made[batch_id] = known_total(spent) / whole
        return self.made[batch_id]


def _materials(ledger: _Ledger, batch: Batch, deep: int = 0) -> tuple[Spent, ...]:
    standing = [(line, one) for line in batch.lines for one in line.standing if one.grams]
    lots = lots_by_id(ledger.session, {one.lot_id for _, one in standing if one.lot_id is not None})
    new = [lot_id for lot_id in lots if lot_id not in ledger.came]
    ledger.came.update(received_amounts(ledger.session, new) if new else {})
    taken: dict[tuple[int, str, int | None, str], Decimal] = defaultdict(Decimal)
    for line, one in standing:
        taken[line.material_id, line.name, one.lot_id, one.lot_text] += one.grams or ZERO
    found = []
    for (material_id, name, lot_id, text), grams in taken.items():
        lot = lots.get(lot_id) if lot_id is not None else None
        material = ledger.session.get(MaterialRow, material_id)
        cost, source = ledger.cost(lot, grams, deep) if lot else ledger.listed(material, grams)
        found.append(Spent(name, text, grams, "g", cost, source))
    return tuple(found)


def _packaging(ledger: _Ledger, run: PackingRun) -> tuple[Spent, ...]:
    pieces = pieces_of(ledger.session, run)
    lots = [use.lot_id for piece in pieces for use in piece.uses]
    ledger.came.update(received_amounts(ledger.session, lots) if lots else {})
    return tuple(one for piece in pieces for one in _of_piece(ledger, run, piece))


def _of_piece(ledger: _Ledger, run: PackingRun, piece: PackagingPiece) -> Iterable[Spent]:
    for use in piece.uses:
        gone = use.used + use.spoilt or use.issued - use.returned
        cost, source = ledger.cost(use.lot, gone, DEEPEST)
        yield Spent(piece.name, use.lot.code, gone, "pieces", cost, source)
    if not piece.uses and piece.per_unit and run.units_filled:
        amount = piece.per_unit * run.units_filled
        cost, source = ledger.listed(ledger.session.get(PackagingRow, piece.packaging_id), amount)
        yield Spent(piece.name, "", amount, "pieces", cost, source)


def batch_cost(session: Session, batch: Batch) -> BatchCost | None:
    """Return what a batch cost in fact; None before anything was weighed.

    What no lot says was paid for costs what had been paid for it until the last day of the record, as it was known when
    the record was closed. Labour is the time that was noted, or as planned where none was; its rate, the overhead and
    the currency are those of the version.
    """
    if not batch.weighed_g:
        return None
    formula = formula_of_batch(batch)
    rates = formula.rates
    asked = select(PackingRun).where(PackingRun.batch_id == batch.id, PackingRun.state != RunState.CANCELLED)
    runs = list(session.scalars(asked.order_by(PackingRun.id)))
    last = max((batch.made_on, *(run.packed_on for run in runs)))
    ends = [batch.decided_at, *(run.closed_at for run in runs)]
    known = [end for end in ends if end is not None]
    closed = max(known) if len(known) == len(ends) else None
    ledger = _Ledger(session, price_book(session).as_of(last, rates.currency, closed), {})
    materials = _materials(ledger, batch)
    packaging = {run.id: _packaging(ledger, run) for run in runs}
    minutes: dict[int | None, int] = defaultdict(int)
    for one in worked_times(session, batch.id):
        if one.cancelled_at is None:
            minutes[one.run_id] += one.minutes
    noted = sum(minutes.values()) if minutes else None
    planned_minutes = formula.labour_minutes
    with exact_arithmetic():
        labour = (planned_minutes if noted is None else noted) * rates.labour_rate / 60
        making = (planned_minutes if noted is None else minutes[None]) * rates.labour_rate / 60
        filling = {run.id: minutes[run.id] * rates.labour_rate / 60 for run in runs}
    whole = known_total(one for spent in packaging.values() for one in spent)
    amounts = with_overhead(known_total(materials), whole, labour, rates.overhead_percent)
    bulk = with_overhead(amounts.materials, ZERO, making, rates.overhead_percent)
    costed = tuple(_run(ledger, formula, bulk, run, packaging[run.id], filling[run.id]) for run in runs)
    # The whole batch as its first product, or without units where that cannot be.
    planned = (_planned_as(ledger, batch, formula, runs[0].product) if runs else None) or _planned(batch, formula)
    return BatchCost(batch, materials, amounts, planned, costed, rates.currency, rates.digits, noted, planned_minutes)


def _run(
    ledger: _Ledger, formula: Formula, bulk: Amounts, run: PackingRun, packaging: tuple[Spent, ...], labour: Decimal
) -> RunCost:
    batch = run.batch
    taken = (run.bulk_g or (nominal_g(run) or ZERO) * run.units_filled) - (run.rest_g or ZERO)
    yielded = batch.yield_g or batch.weighed_g
    share = min(Decimal(1), taken / yielded) if yielded else ZERO
    amounts = run_amounts(bulk, share, known_total(packaging), formula.rates.overhead_percent, labour)
    planned = _planned_as(ledger, batch, formula, run.product)
    return RunCost(run.number, run.product_name, run.units_to_stock, packaging, amounts, planned)


def _planned_as(ledger: _Ledger, batch: Batch, formula: Formula, product: Product) -> Costing | None:
    """Return what was planned of a batch as a product, its packaging at the prices of the record."""
    try:
        sold = for_product(formula, setting_of(ledger.session, product, ledger.book))
    except Invalid:
        return None
    return _planned(batch, sold)


def _planned(batch: Batch, formula: Formula) -> Costing | None:
    """Return what was planned, at the prices of the version; None where it cannot be costed."""
    try:
        return cost_formula(formula, planned_weighing(batch, formula))
    except Invalid:
        return None


def read_cost(session: Session, batch_id: int) -> BatchCost | None:
    """Return what a batch cost, for its page and its paper.

    Raises:
        NotFound: when there is no such batch.
    """
    return batch_cost(session, load_batch(session, batch_id))


add(Section("cost", "What it cost", "packing/_cost.html", batch_cost, ("css/packing.css",)))
