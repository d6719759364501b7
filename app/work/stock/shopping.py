"""What to buy: what open batches need and what should be kept, less what is on hand and on order, in packs."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.science.cost import units_filled
from app.science.errors import Invalid
from app.science.numbers import ceil_to_step, plain, plain_or_empty
from app.store.batches import Batch
from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow, newest_price
from app.store.stock import Lot, OrderState, Purchase, PurchaseLine, Supplier
from app.work.csv_text import write_table
from app.work.formulas.versions import formula_of
from app.work.pricing import exchange_of, pack_price
from app.work.stock.listing import OPEN, StockRow, rows_that_may_be_short

ZERO = Decimal(0)
COLUMNS = (
    "item", "short", "unit", "needed", "keep", "usable", "in quarantine", "on order", "packs", "pack", "pack price",
    "cost", "supplier", "delivery days",
)  # fmt: skip
NUMBERS = ("short", "needed", "keep", "usable", "in quarantine", "on order", "packs", "pack price", "cost")


@dataclass(frozen=True, slots=True)
class ToBuy:
    """Something that is short, with how it was bought last; amounts in grams or pieces.

    ``pack`` is what one pack holds, ``pack_price`` what it cost; both None where nothing was bought yet.
    """

    row: StockRow
    short: Decimal
    on_order: Decimal
    pack: Decimal | None
    pack_text: str
    pack_price: Decimal | None
    supplier: str
    delivery_days: Decimal | None

    @property
    def packs(self) -> Decimal | None:
        """How many whole packs cover what is short."""
        return ceil_to_step(self.short / self.pack, Decimal(1)) if self.pack else None

    @property
    def amount(self) -> Decimal:
        """What would be bought: whole packs, or just what is short."""
        return self.packs * self.pack if self.packs and self.pack else self.short

    @property
    def cost(self) -> Decimal | None:
        """What the packs would cost at the last price."""
        return self.packs * self.pack_price if self.packs and self.pack_price is not None else None


def packaging_needed(session: Session) -> dict[int, Decimal]:
    """Return the pieces of each packaging that open batches will need, by what their versions are filled into."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    batches = session.scalars(select(Batch).where(Batch.state.in_(OPEN)).options(selectinload(Batch.version)))
    for batch in batches:
        if batch.fill_g is None:
            continue
        try:
            units = units_filled(batch.size_g, ZERO, batch.fill_g)
        except Invalid:
            continue
        for pack in formula_of(batch.version).packaging:
            found[pack.id] += pack.per_unit * units
    return found


def to_buy(session: Session) -> list[ToBuy]:
    """Return what is short, by supplier and name: needed + to be kept - usable - in quarantine - on order, above 0."""
    ordered: dict[tuple[int | None, int | None], Decimal] = defaultdict(Decimal)
    asked = (
        select(PurchaseLine.material_id, PurchaseLine.packaging_id, PurchaseLine.amount)
        .join(Purchase, Purchase.id == PurchaseLine.purchase_id)
        .where(Purchase.state == OrderState.OPEN, PurchaseLine.lot_id.is_(None))
    )
    for material_id, packaging_id, amount in session.execute(asked):
        ordered[material_id, packaging_id] += amount
    needed_pieces, exchange = packaging_needed(session), exchange_of(session)
    days = {name.casefold(): count for name, count in session.execute(select(Supplier.name, Supplier.delivery_days))}
    found = []
    for row in rows_that_may_be_short(session, needed_pieces):
        if row.packaging_id is not None:
            row.reserved = needed_pieces.get(row.packaging_id, ZERO)
        on_order = ordered.get((row.material_id, row.packaging_id), ZERO)
        short = row.reserved + (row.reorder or ZERO) - row.usable - row.held - on_order
        if short > 0 and not row.drawn_here:
            pack: Decimal | None
            if row.packaging_id is not None:
                piece = session.get_one(PackagingRow, row.packaging_id)
                words = f"{plain(piece.units_per_pack)} pieces"
                pack, price, supplier = piece.units_per_pack, pack_price(piece, exchange), piece.supplier
            else:
                material = session.get_one(MaterialRow, row.material_id)
                bought = newest_price(material.prices)
                pack, words = (bought.quantity_g, bought.quantity_text) if bought else (None, "")
                price = exchange.at_home(bought.amount, bought.currency, bought.priced_on) if bought else None
                supplier = bought.supplier if bought else ""
                supplier = supplier or material.supplier or _last_supplier(session, material.id)
            found.append(ToBuy(row, short, on_order, pack, words, price, supplier, days.get(supplier.casefold())))
    return sorted(found, key=lambda one: (one.supplier == "", one.supplier.casefold(), one.row.name.casefold()))


def _last_supplier(session: Session, material_id: int) -> str:
    asked = select(Supplier.name).join(Lot, Lot.supplier_id == Supplier.id).where(Lot.material_id == material_id)
    return session.scalar(asked.order_by(Lot.received_on.desc(), Lot.id.desc()).limit(1)) or ""


def load_to_buy(store: Store) -> list[ToBuy]:
    """Return what is short, for a page."""
    with store.reading() as session:
        return to_buy(session)


def export_to_buy(store: Store) -> str:
    """Return what is short as a table."""

    def text(value: Decimal | None) -> str:
        return plain_or_empty(value)

    rows = (
        {
            "item": one.row.name,
            "short": plain(one.short),
            "unit": one.row.unit,
            "needed": plain(one.row.reserved),
            "keep": text(one.row.reorder),
            "usable": plain(one.row.usable),
            "in quarantine": plain(one.row.held),
            "on order": plain(one.on_order),
            "packs": text(one.packs),
            "pack": one.pack_text,
            "pack price": text(one.pack_price),
            "cost": text(one.cost),
            "supplier": one.supplier,
            "delivery days": text(one.delivery_days),
        }
        for one in load_to_buy(store)
    )
    return write_table(COLUMNS, rows, NUMBERS)
