"""Releasing and rejecting a batch: once, by a named person, with a reason where something is open."""

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch, BatchState
from app.work.action import action
from app.work.batches.loading import CLOSED, log, open_batch
from app.work.clock import now


def what_is_open(batch: Batch) -> list[str]:
    """List what a record still lacks, in words; an empty list when it is complete."""
    unweighed = [line.name for line in batch.lines if line.actual_g is None and not line.added_at_bench]
    unlotted = [line.name for line in batch.lines if line.actual_g and not line.lot_text]
    missing = [f"no weight for {', '.join(unweighed)}"] if unweighed else []
    missing += [f"no lot for {', '.join(unlotted)}"] if unlotted else []
    return missing + ([] if batch.readings else ["no reading or look taken down"])


@action(once="decision on batch {batch_id}")
def decide(session: Session, batch_id: int, row_version: int, *, state: str, who: str, why: str, key: str = "") -> None:
    """Release or reject a batch for good.

    Raises:
        Invalid: at ``who`` without a name; at ``why`` without a reason for rejecting, or releasing what is open.
        Conflict: when it is decided already, or was changed in the meantime.
    """
    if state not in {closed.value for closed in CLOSED}:
        raise Invalid("state", "Choose released or rejected.")
    if not who.strip():
        raise Invalid("who", "Write who decides.")
    batch = open_batch(session, batch_id, row_version)
    _ask_for_reason(batch, BatchState(state), why)
    log(batch, "state", by=who, old=batch.state.value, new=state, why=why)
    batch.state, batch.decided_at, batch.decided_by = BatchState(state), now(), who.strip()[:80]


def _ask_for_reason(batch: Batch, state: BatchState, why: str) -> None:
    if why.strip():
        return
    if state is BatchState.REJECTED:
        raise Invalid("why", "Write why it is rejected.")
    missing = what_is_open(batch)
    if missing:
        raise Invalid("why", f"The record has {'; '.join(missing)}. Write why it is released all the same.")
