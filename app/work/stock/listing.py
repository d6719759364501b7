"""What is on hand: by material and packaging, lots in the order they should be used, and what wants attention."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, Select, and_, case, func, or_, select
from sqlalchemy.orm import Session

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow
from app.store.stock import HOLDS, Lot, LotState
from app.work.clock import today

SOON = timedelta(days=30)
PAGE = 100
MOST_WORDS = 8
MOST_OFFERED = 300
ZERO = Decimal(0)
OPEN = (BatchState.PLANNED, BatchState.IN_PROCESS)
ALL, LOW, DUE, HELD = "", "low", "due", "quarantine"


@dataclass(slots=True)
class StockRow:
    """A material or packaging with what of it is on hand; amounts in grams or pieces.

    ``usable`` is accepted and within its date, ``held`` in quarantine, ``spent`` rejected or past its date;
    ``first_due`` is the earliest expiry or re-test date of what is on hand, ``reserved`` what open batches still need.
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
    first_due: date | None = None

    @property
    def unit(self) -> str:
        """``g`` or ``pieces``."""
        return "g" if self.packaging_id is None else "pieces"

    @property
    def free(self) -> Decimal:
        """What is left when every open batch has taken its part; below zero when it is not enough."""
        return self.usable - self.reserved

    @property
    def is_low(self) -> bool:
        """Whether less is free than should be kept or open batches need; never of what is drawn here."""
        return not self.drawn_here and self.free < (self.reorder or ZERO)


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
    day, wanted, reserved = today(), words.casefold().split(), reserved_grams(session)
    of = _may_be_shown(session, show, day, reserved)
    rows = [row for row in _rows(session, day, reserved, of) if every or row.lots or row.reserved or row.reorder]
    listed = [row for row in rows if all(word in row.name.casefold() for word in wanted) and _shown(row, show, day)]
    return sorted(listed, key=lambda row: row.name.casefold())


def _may_be_shown(session: Session, show: str, day: date, reserved: Collection[int]) -> "Of | None":
    """Return what a list can show at all, so that only that is added up; None where it may be anything."""
    if show == LOW:
        return may_be_low(session, reserved)
    if show not in (DUE, HELD):
        return None
    soon = or_(Lot.expires_on <= day + SOON, Lot.retest_on <= day + SOON)
    asked = select(Lot.material_id, Lot.packaging_id).where(HOLDS).distinct()
    found = session.execute(asked.where(soon if show == DUE else Lot.state == LotState.QUARANTINE)).all()
    return {one for one, _ in found if one is not None}, {one for _, one in found if one is not None}


def may_be_low(session: Session, reserved: Collection[int]) -> "Of":
    """Return the materials and packaging that can be low at all: what is needed, or has an amount to keep."""
    kept_g = session.scalars(select(MaterialRow.id).where(MaterialRow.reorder_g.is_not(None)))
    kept_pieces = session.scalars(select(PackagingRow.id).where(PackagingRow.reorder.is_not(None)))
    return {*kept_g, *reserved}, set(kept_pieces)


def rows_that_may_be_short(session: Session, needed_pieces: Collection[int]) -> list[StockRow]:
    """Return what is on hand of everything that open batches need or that has an amount to keep."""
    reserved = reserved_grams(session)
    materials, packaging = may_be_low(session, reserved)
    return _rows(session, today(), reserved, (materials, (packaging or set()) | set(needed_pieces)))


def live_names(session: Session) -> list[tuple[int, str]]:
    """Return the id and the name of every material of the shelf, by name."""
    asked = (
        select(MaterialRow.id, MaterialRow.name).where(MaterialRow.retired_at.is_(None)).order_by(MaterialRow.name_key)
    )
    return [(number, name) for number, name in session.execute(asked)]


def names_to_offer(session: Session) -> list[str]:
    """Return names to offer where something is ordered: all of a small shelf, of a large one what may be short."""
    pieces = list(session.scalars(select(PackagingRow.name).where(PackagingRow.retired_at.is_(None))))
    live = select(MaterialRow.name).where(MaterialRow.retired_at.is_(None))
    names = list(session.scalars(live.limit(MOST_OFFERED + 1)))
    if len(names) > MOST_OFFERED:
        materials, _ = may_be_low(session, reserved_grams(session))
        names = list(session.scalars(live.where(MaterialRow.id.in_(sorted(materials or ()))).limit(MOST_OFFERED)))
    return sorted([*names, *pieces], key=str.casefold)


def stock_row(session: Session, thing: MaterialRow | PackagingRow) -> StockRow:
    """Return what is on hand of one material or packaging."""
    if isinstance(thing, MaterialRow):
        needed = reserved_grams(session).get(thing.id, ZERO)
        row = StockRow(thing.id, None, thing.name, thing.reorder_g, thing.drawn_here, reserved=needed)
        found = session.execute(_sums(today()).where(Lot.material_id == thing.id)).all()
    else:
        row = StockRow(None, thing.id, thing.name, thing.reorder)
        found = session.execute(_sums(today()).where(Lot.packaging_id == thing.id)).all()
    for one in found:
        _fill(row, *one[2:])
    return row


def stock_page(session: Session, words: str, place: int) -> tuple[list[StockRow], int, int]:
    """Return a page of what is on hand, or should be, by name; with its number and how many rows there are in all.

    Names are listed first, and only those of the page are added up.
    """
    day, reserved = today(), reserved_grams(session)
    held = select(Lot.id).where(HOLDS, Lot.material_id == MaterialRow.id).exists()
    kept = (held, MaterialRow.reorder_g.is_not(None), MaterialRow.id.in_(sorted(reserved)))
    parts = words.split()[:MOST_WORDS]
    wanted = (
        MaterialRow.retired_at.is_(None),
        or_(*kept),
        *(MaterialRow.name.icontains(part[:80], autoescape=True) for part in parts),
    )
    pieces = [row for row in _rows(session, day, {}, (set(), None)) if row.lots or row.reorder]
    pieces = [row for row in pieces if all(part.casefold() in row.name.casefold() for part in parts)]
    count = (session.scalar(select(func.count(MaterialRow.id)).where(*wanted)) or 0) + len(pieces)
    place = min(max(place, 1), max(1, -(-count // PAGE)))
    asked = select(MaterialRow.id, MaterialRow.name).where(*wanted).order_by(MaterialRow.name_key).limit(place * PAGE)
    named: list[tuple[str, int | None, StockRow | None]] = [(name, key, None) for key, name in session.execute(asked)]
    named += [(row.name, None, row) for row in pieces]
    shown = sorted(named, key=lambda one: one[0].casefold())[(place - 1) * PAGE : place * PAGE]
    summed = _rows(session, day, reserved, ({key for _, key, _ in shown if key is not None}, set()))
    rows = summed + [row for _, _, row in shown if row is not None]
    return sorted(rows, key=lambda row: row.name.casefold()), place, count


Of = tuple[set[int] | None, set[int] | None]


def _rows(
    session: Session, day: date, reserved: dict[int, Decimal] | None = None, of: Of | None = None
) -> list[StockRow]:
    """Add up every material and packaging, or only those ``of`` names: materials, packaging; None means all."""
    reserved = reserved_grams(session) if reserved is None else reserved
    columns = select(MaterialRow.id, MaterialRow.name, MaterialRow.reorder_g, MaterialRow.drawn_here)
    columns = columns.where(MaterialRow.retired_at.is_(None))
    pieces = select(PackagingRow.id, PackagingRow.name, PackagingRow.reorder).where(PackagingRow.retired_at.is_(None))
    sums_of = _sums(day)
    if of is not None:
        columns, of_material = _only(columns, MaterialRow.id, Lot.material_id, of[0])
        pieces, of_packaging = _only(pieces, PackagingRow.id, Lot.packaging_id, of[1])
        sums_of = sums_of.where(or_(of_material, of_packaging))
    materials = {
        number: StockRow(number, None, name, reorder, drawn_here, reserved=reserved.get(number, ZERO))
        for number, name, reorder, drawn_here in session.execute(columns)
    }
    packaging = {number: StockRow(None, number, name, reorder) for number, name, reorder in session.execute(pieces)}
    for material_id, packaging_id, *sums in session.execute(sums_of):
        row = materials.get(material_id) if material_id is not None else packaging.get(packaging_id)
        if row is not None:
            _fill(row, *sums)
    return [*materials.values(), *packaging.values()]


def _only(asked: Any, key: Any, of_lot: Any, ids: set[int] | None) -> tuple[Any, Any]:
    """Narrow a query to some ids, and return the condition that picks their lots."""
    if ids is None:
        return asked, of_lot.is_not(None)
    return asked.where(key.in_(sorted(ids))), of_lot.in_(sorted(ids))


@lru_cache(maxsize=2)
def _sums(day: date) -> Select[*tuple[Any, ...]]:
    """Sum up what holds something, by what it is: usable, in quarantine, all of it, how many lots, the first date."""
    due = case(
        (Lot.expires_on.is_(None), Lot.retest_on),
        (Lot.retest_on.is_(None), Lot.expires_on),
        (Lot.retest_on < Lot.expires_on, Lot.retest_on),
        else_=Lot.expires_on,
    )
    return (
        select(
            Lot.material_id,
            Lot.packaging_id,
            func.sum(case((_usable(day), Lot.on_hand), else_=ZERO)),
            func.sum(case((Lot.state == LotState.QUARANTINE, Lot.on_hand), else_=ZERO)),
            func.sum(Lot.on_hand),
            func.count(Lot.id),
            func.min(due),
        )
        .where(HOLDS)
        .group_by(Lot.material_id, Lot.packaging_id)
    )


def _fill(row: StockRow, usable: Decimal, held: Decimal, whole: Decimal, lots: int, first_due: date | None) -> None:
    row.usable, row.held, row.spent = usable, held, whole - usable - held
    row.lots, row.first_due = lots, first_due


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
    """Return what the first page says of the stock; nothing is low where no stock is kept."""
    day = today()
    past = or_(Lot.expires_on < day, Lot.retest_on < day)
    soon = or_(Lot.expires_on <= day + SOON, Lot.retest_on <= day + SOON)
    accepted, expired = session.execute(
        select(func.count(), func.count(case((past, Lot.id))))
        .select_from(Lot)
        .where(HOLDS, Lot.state == LotState.ACCEPTED, soon)
    ).one()
    held = select(func.count()).select_from(Lot).where(HOLDS, Lot.state == LotState.QUARANTINE)
    return Attention(_count_low(session, day), accepted - expired, expired, session.scalar(held) or 0)


def _usable(day: date) -> ColumnElement[bool]:
    return and_(
        Lot.state == LotState.ACCEPTED,
        or_(Lot.expires_on.is_(None), Lot.expires_on >= day),
        or_(Lot.retest_on.is_(None), Lot.retest_on >= day),
    )


def _usable_of(of: ColumnElement[bool], day: date) -> ScalarSelect[Decimal]:
    return select(func.sum(Lot.on_hand)).where(HOLDS, of, _usable(day)).scalar_subquery()


def _count_low(session: Session, day: date) -> int:
    """Count what is low, as ``stock_rows`` would list it, without the rest of each row."""
    needed = reserved_grams(session)
    kept = select(MaterialRow.id).where(MaterialRow.reorder_g.is_not(None))
    materials = session.execute(
        select(MaterialRow.id, MaterialRow.reorder_g, _usable_of(Lot.material_id == MaterialRow.id, day)).where(
            or_(MaterialRow.id.in_(kept), MaterialRow.id.in_(sorted(needed))),
            MaterialRow.retired_at.is_(None),
            MaterialRow.drawn_here.in_((False,)),
        )
    ).all()
    pieces = session.execute(
        select(PackagingRow.reorder, _usable_of(Lot.packaging_id == PackagingRow.id, day)).where(
            PackagingRow.reorder.is_not(None), PackagingRow.retired_at.is_(None)
        )
    ).all()
    keeps_stock = pieces or any(keep is not None for _, keep, _ in materials)
    if not keeps_stock and session.scalar(select(Lot.id).where(HOLDS).limit(1)) is None:
        return 0
    low = sum((usable or ZERO) - needed.get(number, ZERO) < (keep or ZERO) for number, keep, usable in materials)
    return low + sum((usable or ZERO) < (keep or ZERO) for keep, usable in pieces)


def load_stock(store: Store, words: str, show: str, place: int) -> tuple[list[StockRow], int, int]:
    """Return a page of what is on hand, its number, and how many rows there are in all."""
    with store.reading() as session:
        if show == ALL:
            return stock_page(session, words, place)
        rows = stock_rows(session, words, show)
    place = min(max(place, 1), max(1, -(-len(rows) // PAGE)))
    return rows[(place - 1) * PAGE : place * PAGE], place, len(rows)
