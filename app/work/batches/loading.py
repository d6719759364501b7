"""Finding a batch, and the one way to write its history."""

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.store.batches import DECIDED, Batch, BatchLine, Heating
from app.store.errors import Conflict, NotFound
from app.store.formulas import FormulaVersion
from app.work.clock import now

CLOSED = DECIDED


def load_batch(session: Session, batch_id: int, *, for_writing: bool = False) -> Batch:
    """Load a batch with its version, lines, readings and history; for writing, its row is held until the action ends.

    Raises:
        NotFound: when there is none of that id.
    """
    wanted = select(Batch).where(Batch.id == batch_id)
    if for_writing:
        wanted = wanted.with_for_update(of=Batch)
    batch = session.scalars(
        wanted.options(
            selectinload(Batch.lines).selectinload(BatchLine.weighings),
            selectinload(Batch.lines).selectinload(BatchLine.heatings).joinedload(Heating.line),
            joinedload(Batch.product),
            selectinload(Batch.readings),
            selectinload(Batch.deviations),
            selectinload(Batch.ticks),
            selectinload(Batch.history),
            joinedload(Batch.version).joinedload(FormulaVersion.formula),
        )
    ).one_or_none()
    if batch is None:
        raise NotFound("There is no such batch.")
    return batch


def open_batch(session: Session, batch_id: int, row_version: int | None = None) -> Batch:
    """Load a batch that is still being worked on.

    Raises:
        NotFound: when there is none of that id.
        Conflict: when it is decided already, or was changed since the form with ``row_version`` was read.
    """
    batch = load_batch(session, batch_id, for_writing=True)
    if batch.state in CLOSED:
        raise Conflict(
            f"Batch {batch.number} is {batch.state.value}: it is corrected by a dated note, not overwritten."
        )
    if row_version is not None and batch.row_version != row_version:
        raise Conflict(f"Batch {batch.number} was changed in the meantime.")
    return batch


def log(batch: Batch, what: str, *, by: str, old: str = "", new: str = "", why: str = "") -> None:
    """Add a line to the history of a batch."""
    batch.log(what, by=by, at=now(), old=old, new=new, why=why)
