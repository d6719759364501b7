"""Quarantine, release, rejection and cancelling of a batch: by a named person, and never while something is open."""

from collections.abc import Iterable

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.rules.values import Severity
from app.store.batches import Batch, BatchState
from app.store.errors import Conflict
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.batches.as_made import made_findings, work_out_as_made
from app.work.batches.deviations import out_of_plan
from app.work.batches.loading import open_batch
from app.work.clock import now
from app.work.deviations import OutOfPlan, undecided
from app.work.form import Form, rule
from app.work.form_fields import OneOf, ShortText
from app.work.people import SignedBy, session_of
from app.work.rules.answers import AnsweredFinding

LONGEST_REASON = 500
CHOICES = (BatchState.QUARANTINE, BatchState.RELEASED, BatchState.REJECTED, BatchState.CANCELLED)


def what_is_open(points: Iterable[OutOfPlan], as_made: Iterable[AnsweredFinding]) -> list[str]:
    """Return what keeps a batch from its release, in sentences; empty when nothing does.

    Args:
        points: what is out of plan.
        as_made: what is found of the batch as it was made and not answered.
    """
    stops = [f"Stop, as made: {one.finding.what}" for one in as_made if one.finding.severity == Severity.STOP]
    return [*(one.what for one in undecided(points)), *stops]


def weighers(batch: Batch) -> set[str]:
    """Return who weighed anything of a batch that still stands."""
    return {one.by for line in batch.lines for one in line.standing if one.by and one.grams}


class BatchDecision(Form):
    """What becomes of a batch; checked with that batch."""

    state = OneOf("Decision", BatchState, "Choose quarantine, release, reject or cancel.")
    why = ShortText("Why", longest=LONGEST_REASON)
    who = SignedBy("Enter who decides.")

    @rule
    def is_a_decision(self) -> None:
        """Refuse a state that nobody decides on."""
        if self.state not in CHOICES:
            raise Invalid("state", "Choose quarantine, release, reject or cancel.")

    @rule
    def has_its_reason(self) -> None:
        """Refuse a rejection or cancelling without a reason."""
        if self.state in (BatchState.REJECTED, BatchState.CANCELLED) and not self.why:
            raise Invalid("why", f"Enter why it is {self.state.value}.")

    @rule
    def two_people(self) -> None:
        """Refuse a release by somebody who weighed, where two people are asked for."""
        asked = self.state is BatchState.RELEASED and the_workshop(session_of(self)).two_people
        if asked and self.who in weighers(self.given):
            raise Invalid("who", f"{self.who} weighed for this batch; somebody else has to release it.")

    @rule
    def nothing_is_open(self) -> None:
        """Refuse a release while something is open."""
        if self.state is not BatchState.RELEASED:
            return
        session, batch = session_of(self), self.given
        missing = what_is_open(out_of_plan(session, batch), made_findings(session, batch))
        if missing:
            raise Invalid("state", f"It cannot be released while this is open: {' '.join(missing)}")


@action(once="decision on batch {batch_id}")
def decide(session: Session, batch_id: int, row_version: int, typed: BatchDecision, *, key: str = "") -> None:
    """Set a batch in quarantine, or release, reject or cancel it for good.

    Raises:
        Faults: at ``state``, ``who`` or ``why``: no name, somebody who weighed where two people are asked for, a
            rejection or cancelling without a reason, or a release while something is open.
        Conflict: when it is decided already, was changed in the meantime, or is past cancelling.
    """
    batch = open_batch(session, batch_id, row_version)
    form = typed.checked(batch)
    if form.state is BatchState.CANCELLED and batch.state is not BatchState.PLANNED:
        raise Conflict(f"Batch {batch.number} is {batch.state.value}: what was begun is rejected, not cancelled.")
    alone = " by the person who weighed" if form.state is BatchState.RELEASED and form.who in weighers(batch) else ""
    batch.log("state", by=form.who, at=now(), old=batch.state.value, new=f"{form.state.value}{alone}", why=form.why)
    if form.state is not BatchState.QUARANTINE:
        made = work_out_as_made(session, batch)
        batch.as_made = made.to_json() if made else None
        batch.decided_at, batch.decided_by = now(), form.who
    batch.state = form.state
