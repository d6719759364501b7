"""Finished units on hand by product and batch: what was packed, less what left by any way that an area adds.

An area that lets units leave or brings them back calls :func:`count_also` once, when it is imported, with a function
that returns the units by product and batch, below zero for what left.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.packing import SOME_LEFT, FinishedBalance, FinishedMove, PackingRun, RunState
from app.store.products import Product

# (product id, batch id)
Key = tuple[int, int]
Units = Mapping[Key, int]


@dataclass(frozen=True, slots=True)
class Of:
    """Whose units are asked for; None means of every one."""

    product_id: int | None = None
    batch_id: int | None = None


Source = Callable[[Session, Of], Units]
_SOURCES: dict[str, Source] = {}


def count_also(name: str, source: Source) -> None:
    """Add a way by which units leave or come back, or replace the one of the same name.

    Args:
        name: what the way is called on pages, such as ``sent out``.
        source: returns the units by product and batch, below zero for what left.
    """
    _SOURCES[name] = source


@dataclass(frozen=True, slots=True)
class FinishedRow:
    """The units of one product out of one batch: packed, gone or come back by each way, and on hand."""

    product_id: int
    product: str
    batch_id: int
    batch: str
    packed: int
    moved: Mapping[str, int]
    best_before: date | None
    last_packed: date

    @property
    def on_hand(self) -> int:
        """What should stand on the shelf."""
        return self.packed + sum(self.moved.values())

    def is_past(self, day: date) -> bool:
        """Whether there is something on hand whose date has passed."""
        return self.on_hand > 0 and self.best_before is not None and self.best_before < day


def finished_rows(session: Session, of: Of | None = None) -> list[FinishedRow]:
    """Return what was packed of each product out of each batch, by product and then the oldest date first."""
    of = of or Of()
    moved: dict[Key, Counter[str]] = {}
    for name, source in _SOURCES.items():
        for key, units in source(session, of).items():
            moved.setdefault(key, Counter())[name] += units
    asked = (
        select(
            PackingRun.product_id,
            func.min(PackingRun.product_name),
            PackingRun.batch_id,
            Batch.number,
            func.sum(PackingRun.units_filled - PackingRun.units_spoilt - PackingRun.units_sampled),
            func.min(PackingRun.best_before),
            func.max(PackingRun.packed_on),
        )
        .join(Batch, Batch.id == PackingRun.batch_id)
        .where(PackingRun.state == RunState.CLOSED, *_of(of))
        .group_by(PackingRun.product_id, PackingRun.batch_id, Batch.number)
    )
    rows = [
        FinishedRow(product_id, product, batch_id, batch, int(packed), moved.get((product_id, batch_id), {}), until, on)
        for product_id, product, batch_id, batch, packed, until, on in session.execute(asked)
    ]
    return sorted(rows, key=lambda row: (row.product.casefold(), row.best_before or date.max, row.batch_id))


@dataclass(frozen=True, slots=True)
class LowProduct:
    """A product of which fewer units are on hand, and in date, than should be kept."""

    product_id: int
    product: str
    on_hand: int
    keep: int


def low_products(session: Session, day: date) -> list[LowProduct]:
    """Return the products of which too few units are on hand; those past their date do not count."""
    kept = select(Product.id, Product.name, Product.reorder).where(
        Product.reorder.is_not(None), Product.retired_at.is_(None)
    )
    products = session.execute(kept).all()
    if not products:
        return []
    there = select(FinishedBalance.product_id, FinishedBalance.batch_id, FinishedBalance.units).where(
        FinishedBalance.product_id.in_([number for number, _name, _keep in products]), SOME_LEFT
    )
    left = session.execute(there).all()
    until = {(row.product_id, row.batch_id): row.until for row in _packed(session, {row.batch_id for row in left})}
    good: Counter[int] = Counter()
    for product_id, batch_id, units in left:
        last = until.get((product_id, batch_id))
        good[product_id] += 0 if last is not None and last < day else units
    return [
        LowProduct(number, name, good[number], keep or 0)
        for number, name, keep in products
        if good[number] < (keep or 0)
    ]


PAGE = 100


def finished_page(session: Session, *, everything: bool = False, skip: int = 0) -> list[FinishedRow]:
    """Return a page of what is on hand, or of all that was ever packed, by product; one row more when there is more."""
    asked = (
        select(FinishedBalance.product_id, Product.name, FinishedBalance.batch_id, Batch.number, FinishedBalance.units)
        .join(Product, Product.id == FinishedBalance.product_id)
        .join(Batch, Batch.id == FinishedBalance.batch_id)
        .order_by(Product.name, FinishedBalance.product_id, FinishedBalance.batch_id)
        .offset(skip)
        .limit(PAGE + 1)
    )
    keys = session.execute(asked if everything else asked.where(SOME_LEFT)).all()
    packed = {(row.product_id, row.batch_id): row for row in _packed(session, {row.batch_id for row in keys})}
    found = []
    for product_id, product, batch_id, batch, units in keys:
        row = packed.get((product_id, batch_id))
        if row is not None:
            moved = {"otherwise": units - int(row.units)}
            found.append(FinishedRow(product_id, product, batch_id, batch, int(row.units), moved, row.until, row.last))
    return found


def _packed(session: Session, batches: set[int]) -> Sequence[Any]:
    # Whether a run is closed is asked of what it counts, not of which runs are read: a database without statistics
    # would read every closed run there is in place of the few of these batches.
    closed = PackingRun.state == RunState.CLOSED
    good = PackingRun.units_filled - PackingRun.units_spoilt - PackingRun.units_sampled
    units = func.sum(case((closed, good), else_=0)).label("units")
    until = func.min(case((closed, PackingRun.best_before))).label("until")
    last = func.max(case((closed, PackingRun.packed_on))).label("last")
    asked = (
        select(PackingRun.product_id, PackingRun.batch_id, units, until, last)
        .where(PackingRun.batch_id.in_(sorted(batches)))
        .group_by(PackingRun.product_id, PackingRun.batch_id)
        .having(func.count(case((closed, PackingRun.id))) > 0)
    )
    return session.execute(asked).all()


def all_gone(session: Session) -> int:
    """Return how many products out of batches are all gone."""
    whole = session.scalar(select(func.count()).select_from(FinishedBalance)) or 0
    return whole - (session.scalar(select(func.count()).select_from(FinishedBalance).where(SOME_LEFT)) or 0)


def past_their_date(session: Session, day: date) -> int:
    """Return how many products out of batches are on hand past their date."""
    # Asked of what is on hand: of what was ever packed, ever more is past its date.
    past = select(PackingRun.id).where(
        PackingRun.product_id == FinishedBalance.product_id,
        PackingRun.batch_id == FinishedBalance.batch_id,
        PackingRun.best_before < day,
        PackingRun.state.in_((RunState.CLOSED,)),
    )
    asked = select(func.count()).select_from(FinishedBalance).where(SOME_LEFT, FinishedBalance.units > 0, past.exists())
    return session.scalar(asked) or 0


def units_on_hand(session: Session, product_id: int, batch_id: int) -> int:
    """Return how many units of a product out of a batch are on hand."""
    return sum(row.on_hand for row in finished_rows(session, Of(product_id, batch_id)))


def _of(of: Of) -> list[ColumnElement[bool]]:
    product = [] if of.product_id is None else [PackingRun.product_id == of.product_id]
    return product if of.batch_id is None else [*product, PackingRun.batch_id == of.batch_id]


def _moved_by_hand(session: Session, of: Of) -> Units:
    asked = (
        select(PackingRun.product_id, PackingRun.batch_id, func.sum(FinishedMove.units))
        .join(PackingRun, PackingRun.id == FinishedMove.run_id)
        .where(*_of(of))
        .group_by(PackingRun.product_id, PackingRun.batch_id)
    )
    return {(product_id, batch_id): int(units) for product_id, batch_id, units in session.execute(asked)}


count_also("counted, used here or discarded", _moved_by_hand)
