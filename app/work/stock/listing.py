"""What is on hand: by material and packaging, lots in the order they should be used, and what wants attention."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session, lazyload

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.materials import Material, Packaging
from app.store.stock import Lot, LotState
from app.work.clock import today

SOON = timedelta(days=30)
ZERO = Decimal(0)
OPEN = (BatchState.PLANNED, BatchState.IN_PROCESS)
ALL, LOW, DUE, HELD = "", "low", "due", "quarantine"


@dataclass(slots=True)
class StockRow:
    """A material or packaging with what of it is on hand; amounts in grams or pieces.

    ``usable`` is accepted and within its date, ``held`` in quarantine, ``spent`` refused or past its date.
    ``reserved`` is what open batches still need of it.
    """

    material_id: int | None
    packaging_id: int | None
    name: str
    reorder: Decimal | None
    drawn_here: bool = False
    usable: Decimal = ZERO
    held: Decimal = ZERO
    spent: Decimal = ZERO
    reserved: Decimal = ZERO
    lots: int = 0
    due: list[date] = field(default_factory=list)

    @property
    def unit(self) -> str:
        """``g`` or ``pieces``."""
        return "g" if self.packaging_id is None else "pieces"

    @property
    def first_due(self) -> date | None:
        """The earliest expiry or re-test date of what is on hand."""
        return min(self.due, default=None)

    @property
    def free(self) -> Decimal:
        """What is left when every open batch has taken its part; below zero when it is not enough."""
        return self.usable - self.reserved

    @property
    def is_low(self) -> bool:
        """Whether less is free than should be kept or open batches need; never of what is drawn here."""
        return not self.drawn_here and self.free < (self.reorder or ZERO)

    def add(self, lot: Lot, day: date) -> None:
        """Count a lot in."""
        self.lots += 1
        if lot.good_until:
            self.due.append(lot.good_until)
        if lot.state is LotState.QUARANTINE:
            self.held += lot.on_hand
        elif lot.why_not(day):
            self.spent += lot.on_hand
        else:
            self.usable += lot.on_hand


def reserved_grams(session: Session) -> dict[int, Decimal]:
    """Return the grams of each material that open batches have still to weigh; nothing is set aside for them."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    asked = (
        select(BatchLine.material_id, BatchLine.shown_g, BatchLine.added_at_bench)
        .join(Batch, Batch.id == BatchLine.batch_id)
        .where(Batch.state.in_(OPEN), ~BatchLine.weighings.any(BatchWeighing.grams.is_not(None)))
    )
    for material_id, grams, added_at_bench in session.execute(asked):
        if not added_at_bench:
            found[material_id] += grams
    return found


def stock_rows(session: Session, words: str = "", show: str = ALL, *, every: bool = False) -> list[StockRow]:
    """Return what is on hand, or should be, by name: whatever has lots, is needed, or has an amount to keep.

    Args:
        words: words that the name must hold, in any case.
        show: ``low``, ``due`` (within 30 days or past), ``quarantine``, or everything.
        every: also what has no lot, is not needed and has no amount to keep.
    """
    day, reserved = today(), reserved_grams(session)
    materials: dict[int, StockRow] = {}
    packaging: dict[int, StockRow] = {}
    for material_id, name, reorder, drawn_here in session.execute(
        select(Material.id, Material.name, Material.reorder_g, Material.drawn_here).where(Material.retired_at.is_(None))
    ):
        needed = reserved.get(material_id, ZERO)
        materials[material_id] = StockRow(material_id, None, name, reorder, drawn_here, reserved=needed)
    for packaging_id, name, reorder in session.execute(
        select(Packaging.id, Packaging.name, Packaging.reorder).where(Packaging.retired_at.is_(None))
    ):
        packaging[packaging_id] = StockRow(None, packaging_id, name, reorder)
    for lot in session.scalars(select(Lot).where(Lot.on_hand > ZERO).options(lazyload("*"))):
        row = materials.get(lot.material_id or 0) or packaging.get(lot.packaging_id or 0)
        if row is not None:
            row.add(lot, day)
    rows = [
        row for row in (*materials.values(), *packaging.values()) if every or row.lots or row.reserved or row.reorder
    ]
    wanted = words.casefold().split()
    listed = [row for row in rows if all(word in row.name.casefold() for word in wanted) and _shown(row, show, day)]
    return sorted(listed, key=lambda row: row.name.casefold())


def _shown(row: StockRow, show: str, day: date) -> bool:
    if show == LOW:
        return row.is_low
    if show == DUE:
        return row.first_due is not None and row.first_due <= day + SOON
    return row.held > 0 if show == HELD else True


def lots_of(
    session: Session, *, material_ids: Iterable[int] = (), packaging_id: int | None = None, empty: bool = False
) -> list[Lot]:
    """Return lots in the order they should be used: what may be used first, then by what expires first, oldest first.

    ISO 22716, 6.6.7: stock is turned over so that the oldest released goes first.
    """
    day = today()
    of = Lot.packaging_id == packaging_id if packaging_id is not None else Lot.material_id.in_(list(material_ids))
    asked = select(Lot).where(of)
    found = session.scalars(asked if empty else asked.where(Lot.on_hand > ZERO))
    return sorted(
        found,
        key=lambda lot: (lot.on_hand <= 0, bool(lot.why_not(day)), lot.good_until or date.max, lot.received_on, lot.id),
    )


@dataclass(frozen=True, slots=True)
class Attention:
    """How many things of the stock want attention: low, due within 30 days, past their date, in quarantine."""

    low: int
    soon: int
    expired: int
    held: int


def attention(session: Session) -> Attention:
    """Return what the first page says of the stock."""
    day = today()
    lots = list(session.scalars(select(Lot).where(Lot.on_hand > ZERO).options(lazyload("*"))))
    usable = [lot for lot in lots if lot.state is LotState.ACCEPTED and lot.good_until]
    return Attention(
        low=sum(row.is_low for row in stock_rows(session)) if lots or _keeps_amounts(session) else 0,
        soon=sum(day <= lot.good_until <= day + SOON for lot in usable if lot.good_until),
        expired=sum(lot.good_until < day for lot in usable if lot.good_until),
        held=sum(lot.state is LotState.QUARANTINE for lot in lots),
    )


def _keeps_amounts(session: Session) -> bool:
    return bool(session.scalar(select(func.count(Material.id)).where(Material.reorder_g.is_not(None))))


def load_stock(store: Store, words: str, show: str) -> list[StockRow]:
    """Return what is on hand for a page."""
    with store.reading() as session:
        return stock_rows(session, words, show)
