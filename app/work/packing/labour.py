"""Time that people worked on a batch or a packing run, noted by hand: the labour of what the batch cost in fact."""

from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.store.batches import Batch
from app.store.errors import Conflict, NotFound
from app.store.labour import WorkedTime
from app.store.packing import PackingRun
from app.work.action import action
from app.work.clock import now
from app.work.form import Field, Form
from app.work.form_fields import DayOrToday, Name, ShortText
from app.work.people import SignedBy

MOST_MINUTES = Decimal(60_000)


class Minutes(Field[int]):
    """Time in minutes, or in hours and minutes as ``1:30``."""

    control = "text"

    def __init__(self, label: str, **more: Any) -> None:
        super().__init__(label, **{"width": "w6", **more})

    def read(self, text: str, at: str, form: Form) -> int:
        """Return whole minutes, from 1 on."""
        if not text.strip():
            raise Invalid(at, "Enter the minutes, such as 45, or hours and minutes, such as 1:30.")
        hours, colon, rest = text.partition(":")
        found = parse_number(rest if colon else text, at, low=Decimal(0), high=Decimal(59) if colon else MOST_MINUTES)
        if colon:
            found += 60 * parse_number(hours, at, low=Decimal(0), high=MOST_MINUTES / 60)
        if found != int(found) or not 1 <= found <= MOST_MINUTES:
            raise Invalid(at, "Enter whole minutes, from 1 on.")
        return int(found)


class TimeForm(Form):
    """Time that one person worked."""

    minutes = Minutes("Minutes worked", hint="Or hours and minutes, 1:30.")
    who = SignedBy("Enter who worked.")
    worked_on = DayOrToday("Day", hint="Leave empty for today.")
    note = ShortText("What was done", longest=300, width="w20")


class CancelTimeForm(Form):
    """Why a time is cancelled."""

    why = Name("Why it is wrong", "Enter why it is wrong.", longest=300, width="w20")
    who = SignedBy("Enter who cancels it.")


@action(once="time worked on batch {batch_id}")
def note_time(session: Session, batch_id: int, run_id: int | None, typed: TimeForm, *, key: str = "") -> None:
    """Note time that was worked on a batch, or on a packing run of it; also after they are closed.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such batch, or it has no such run.
    """
    form = typed.checked(session)
    if session.get(Batch, batch_id) is None:
        raise NotFound("There is no such batch.")
    of_batch = select(PackingRun.id).where(PackingRun.id == run_id, PackingRun.batch_id == batch_id)
    if run_id is not None and session.scalar(of_batch) is None:
        raise NotFound("This batch has no such packing run.")
    session.add(
        WorkedTime(
            batch_id=batch_id,
            run_id=run_id,
            worked_on=form.worked_on,
            minutes=form.minutes,
            worked_by=form.who,
            note=form.note,
            created_at=now(),
        )
    )


@action()
def cancel_time(session: Session, time_id: int, typed: CancelTimeForm) -> int:
    """Cancel a time that was noted wrongly and return the batch it is of; it stays readable and counts no more.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is cancelled already.
        NotFound: when there is no such time.
    """
    found = session.get(WorkedTime, time_id)
    if found is None:
        raise NotFound("There is no such time.")
    form = typed.checked(session)
    if found.cancelled_at is not None:
        raise Conflict("This time is cancelled already.")
    found.cancelled_at, found.cancelled_by, found.cancelled_why = now(), form.who, form.why
    return found.batch_id
