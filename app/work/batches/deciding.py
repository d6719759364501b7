"""Quarantine, release, rejection and cancelling of a batch: by a named person, and never while something is open."""

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch, BatchState
from app.store.errors import Conflict
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.batches.as_made import made_findings
from app.work.batches.deviations import still_open
from app.work.batches.loading import open_batch
from app.work.clock import now
from app.work.field_reading import FieldReader, one_line
from app.work.people import person_named

LONGEST_REASON = 500
CHOICES = (BatchState.QUARANTINE, BatchState.RELEASED, BatchState.REJECTED, BatchState.CANCELLED)


def what_is_open(session: Session, batch: Batch) -> list[str]:
    """Return what keeps a batch from its release, in sentences; empty when nothing does."""
    stops = [f"Stop, as made: {one.finding.what}" for one in made_findings(session, batch)]
    return [*(one.what for one in still_open(session, batch)), *stops]


def weighers(batch: Batch) -> set[str]:
    """Return who weighed anything of a batch that still stands."""
    return {one.by for line in batch.lines for one in line.standing if one.by and one.grams}


@action(once="decision on batch {batch_id}")
def decide(
    session: Session, batch_id: int, row_version: int, *, state: str, who: str, why: str = "", key: str = ""
) -> None:
    """Set a batch in quarantine, or release, reject or cancel it for good.

    Raises:
        Faults: at ``state``, ``who`` or ``why``: no name, somebody who weighed where two people are asked for, a
            rejection or cancelling without a reason, or a release while something is open.
        Conflict: when it is decided already, was changed in the meantime, or is past cancelling.
    """
    batch = open_batch(session, batch_id, row_version)
    reader = FieldReader()
    wanted = next((one for one in CHOICES if one.value == state), None)
    if wanted is None:
        raise Invalid("state", "Choose quarantine, release, reject or cancel.")
    by = reader.read(person_named, session, who, "who", "Write who decides.")
    reason = reader.read(one_line, why, "why", longest=LONGEST_REASON)
    if wanted in (BatchState.REJECTED, BatchState.CANCELLED) and reason == "":
        reader.refuse("why", f"Write why it is {wanted.value}.")
    if wanted is BatchState.RELEASED:
        _refuse_what_is_open(session, batch, by, reader)
    reader.finish()
    if wanted is BatchState.CANCELLED and batch.state is not BatchState.PLANNED:
        raise Conflict(f"Batch {batch.number} is {batch.state.value}: what was begun is rejected, not cancelled.")
    alone = " by the person who weighed" if wanted is BatchState.RELEASED and by in weighers(batch) else ""
    batch.log("state", by=by or "", at=now(), old=batch.state.value, new=f"{wanted.value}{alone}", why=reason or "")
    batch.state = wanted
    if wanted is not BatchState.QUARANTINE:
        batch.decided_at, batch.decided_by = now(), by or ""


def _refuse_what_is_open(session: Session, batch: Batch, by: str | None, reader: FieldReader) -> None:
    if the_workshop(session).two_people and by in weighers(batch):
        reader.refuse("who", f"{by} weighed for this batch; somebody else has to release it.")
    missing = what_is_open(session, batch)
    if missing:
        reader.refuse("state", f"It cannot be released while this is open: {' '.join(missing)}")
