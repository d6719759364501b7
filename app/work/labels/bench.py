"""Small labels of the bench, and finding what a scanned code belongs to."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import parse_qs, urlsplit

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.products import Product
from app.store.stock import Lot
from app.work.batches.loading import load_batch


@dataclass(frozen=True, slots=True)
class BenchLabel:
    """What a small label says: what it is, its code, where it stands, and dates and the like line by line."""

    name: str
    code: str
    state: str
    lines: tuple[str, ...]


def bench_label_of_batch(session: Session, batch_id: int) -> BenchLabel:
    """Return the label of a batch: its number, state, day and size.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    made = batch.started_at.date() if batch.started_at else batch.planned_on
    lines = (f"version {batch.version.number}", f"made {made.isoformat()}", batch.size_text or f"{batch.size_g:f} g")
    return BenchLabel(batch.version.name, batch.number, batch.state.value, lines)


def bench_label_of_lot(session: Session, lot_id: int) -> BenchLabel:
    """Return the label of a lot: its code, state, supplier's lot and dates.

    Raises:
        NotFound: when there is no such lot.
    """
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound("There is no such lot.")
    lines = (
        f"supplier's lot {lot.supplier_lot}" if lot.supplier_lot else "",
        f"received {lot.received_on.isoformat()}",
        _dated("opened", lot.opened_on),
        _dated("use by", lot.expires_on),
        _dated("re-test", lot.retest_on),
    )
    return BenchLabel(lot.name, lot.code, lot.state.value, tuple(line for line in lines if line))


def _dated(words: str, day: date | None) -> str:
    return "" if day is None else f"{words} {day.isoformat()}"


def code_in(text: str) -> str:
    """Return the code of a scanned text: the text itself, or what an address of ours carries.

    >>> code_in("http://127.0.0.1:8520/scan?code=HC-2026-001"), code_in(" HC-2026-001 ")
    ('HC-2026-001', 'HC-2026-001')
    """
    clean = text.strip()
    if "://" not in clean:
        return clean
    try:
        return parse_qs(urlsplit(clean).query).get("code", [clean])[0]
    except ValueError:
        return clean


def place_of_code(session: Session, text: str) -> str | None:
    """Return the page of the batch, lot or product a scanned text belongs to; None when there is none."""
    code = code_in(text)
    batch = session.scalar(select(Batch.id).where(Batch.number == code))
    if batch is not None:
        return f"/batches/{batch}"
    lot = session.scalar(select(Lot.id).where(Lot.code == code))
    if lot is not None:
        return f"/stock/lots/{lot}"
    product = session.scalar(select(Product.id).where(Product.barcode == code, Product.barcode != ""))
    return None if product is None else f"/products/{product}"
