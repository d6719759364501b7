"""What the page of a batch says of where it went."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.distribution import Dispatch
from app.work.batches.sections import Section, add
from app.work.packing.finished import FinishedRow, Of, finished_rows
from app.work.tracing.sending import dispatches_of

MOST = 30


@dataclass(frozen=True, slots=True)
class BatchSent:
    """The units of a batch by product, what went out of it last, and how many lines there are in all."""

    units: tuple[FinishedRow, ...]
    last: tuple[Dispatch, ...]
    count: int


def batch_sent(session: Session, batch: Batch) -> BatchSent | None:
    """Return where a batch went; None before anything was weighed."""
    if not batch.weighed_g:
        return None
    sent = dispatches_of(session, batch.id)
    return BatchSent(tuple(finished_rows(session, Of(batch_id=batch.id))), tuple(sent[:MOST]), len(sent))


SECTION = Section("sent", "Where it went", "tracing/_batch.html", batch_sent, ("css/stock.css",))
add(SECTION)
