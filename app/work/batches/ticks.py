"""The start-up checklist and the steps of the method: each is ticked by a person, with time and temperature."""

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.store.batches import Tick, TickKind
from app.store.errors import NotFound
from app.store.workshop import Workshop
from app.work.action import action
from app.work.batches.batch_readings import COLDEST, HOTTEST
from app.work.batches.loading import open_batch
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import MaybeNumber, ShortText
from app.work.people import SignedBy

LONGEST_REMARK = 500


def planned_ticks(shop: Workshop, formula: Formula) -> list[Tick]:
    """Return the checklist of the workshop and the steps of a formula, as a batch has them from planning on."""
    points = [line.strip() for line in shop.start_up.splitlines() if line.strip()]
    steps = [(phase.letter, step) for phase in formula.phases for step in phase.method]
    return [
        *(Tick(kind=TickKind.START_UP, position=place, words=words) for place, words in enumerate(points, 1)),
        *(
            Tick(kind=TickKind.STEP, position=len(points) + place, phase=letter, words=words)
            for place, (letter, words) in enumerate(steps, 1)
        ),
    ]


class TickForm(Form):
    """Who ticked points, with what was measured and noted at them."""

    temperature = MaybeNumber("At °C", column="temperature_c", low=COLDEST, high=HOTTEST)
    remark = ShortText("Remark", longest=LONGEST_REMARK)
    who = SignedBy("Enter who did it.", column="done_by")


@action()
def tick(session: Session, batch_id: int, tick_ids: list[int], typed: TickForm) -> None:
    """Tick points or steps of a batch; one that is ticked already stays as it was.

    Raises:
        Faults: at ``who``, ``temperature`` or ``remark``.
        NotFound: when the batch has no such point.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    wanted = [one for one in batch.ticks if one.id in set(tick_ids)]
    if not wanted:
        raise NotFound("There is no such item; tick one of those on the page.")
    form = typed.checked(batch)
    for one in wanted:
        if one.done_at is None:
            one.done_at, one.done_by, one.temperature_c, one.remark = now(), form.who, form.temperature, form.remark
            batch.log(f"done: {one.words}", by=one.done_by, at=one.done_at, new=one.remark)
    batch.start(by=form.who, at=now())
