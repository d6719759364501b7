"""The packing runs of the workshop or of one batch, and what of packing wants attention."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.packing import PackingRun, RunState
from app.store.products import Product
from app.work.batches.sections import Section, add
from app.work.clock import today
from app.work.one_after_another import rows_after
from app.work.packing.finished import low_products, past_their_date
from app.work.packing.runs import PACKABLE, packable
from app.work.packing.samples import count_samples

MOST = 100


@dataclass(frozen=True, slots=True)
class RunRow:
    """A packing run as lists show it."""

    id: int
    number: str
    batch_id: int
    batch: str
    product: str
    state: RunState
    packed_on: date
    units: int


def _asked(runs: Select[PackingRun]) -> Select[*tuple[Any, ...]]:
    return runs.join(Batch, Batch.id == PackingRun.batch_id).with_only_columns(
        PackingRun.id,
        PackingRun.number,
        PackingRun.batch_id,
        Batch.number,
        PackingRun.product_name,
        PackingRun.state,
        PackingRun.packed_on,
        PackingRun.units_filled - PackingRun.units_spoilt - PackingRun.units_sampled,
    )


def latest_runs(session: Session, *, skip: int = 0) -> list[RunRow]:
    """Return packing runs, a page of them: those that are open, then the newest."""
    newest = (PackingRun.packed_on.desc(), PackingRun.id.desc())
    asked = [
        _asked(select(PackingRun).where(of_state).order_by(*newest))
        for of_state in (PackingRun.state == RunState.OPEN, PackingRun.state != RunState.OPEN)
    ]
    return [RunRow(*row) for row in rows_after(session, asked, skip, MOST + 1)]


def runs_of(session: Session, batch_id: int) -> list[RunRow]:
    """Return the packing runs of a batch in the order they were begun."""
    asked = _asked(select(PackingRun).where(PackingRun.batch_id == batch_id).order_by(PackingRun.id))
    return [RunRow(*row) for row in session.execute(asked)]


@dataclass(frozen=True, slots=True)
class BatchPacking:
    """The packing runs of a batch, and the products that more of it can be packed as."""

    runs: tuple[RunRow, ...]
    products: tuple[Product, ...]


def batch_packing(session: Session, batch: Batch) -> BatchPacking | None:
    """Return what was packed of a batch; None where nothing was, and nothing can be."""
    runs = tuple(runs_of(session, batch.id))
    products = packable(session, batch.id).products if batch.state in PACKABLE and batch.yield_g else ()
    return BatchPacking(runs, products) if runs or products else None


@dataclass(frozen=True, slots=True)
class PackingWants:
    """How many things of packing want attention."""

    open_runs: int
    low: int
    past: int
    to_look_at: int
    to_discard: int


def packing_wants(session: Session) -> PackingWants:
    """Return what the first page says of packing: open runs, finished units low or past their date, samples due."""
    day = today()
    samples = count_samples(session)
    return PackingWants(
        open_runs=session.scalar(select(func.count(PackingRun.id)).where(PackingRun.state == RunState.OPEN)) or 0,
        low=len(low_products(session, day)),
        past=past_their_date(session, day),
        to_look_at=samples.due,
        to_discard=samples.over,
    )


add(Section("packing", "Packing", "packing/_of_batch.html", batch_packing, ("css/packing.css",)))
