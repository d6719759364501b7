"""What was not as planned in a record that is decided later, and who decided on it: of a batch as of a packing run."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch, Deviation
from app.store.errors import NotFound
from app.store.packing import PackingDeviation, PackingRun
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import LongText, Name, ShortText, TickBox
from app.work.people import SignedBy

LONGEST = 4_000
Decision: TypeAlias = Deviation | PackingDeviation


@dataclass(frozen=True, slots=True)
class OutOfPlan:
    """Something out of plan; ``key`` holds the value that was found, ``answer`` is the deviation decided on just it.

    ``is_unfinished`` is true of what is only not done yet, while the work goes on.
    """

    key: str
    what: str
    answer: Decision | None = None
    is_unfinished: bool = False


def answered(
    derived: Iterable[tuple[str, str]], rows: Sequence[Decision], unfinished: tuple[str, ...]
) -> tuple[OutOfPlan, ...]:
    """Return what was found out of plan with what was decided on it, then what people noted.

    Args:
        derived: key and words of what was found.
        rows: the deviations of the record.
        unfinished: how the keys begin of what is only not done yet.
    """
    decided = {one.key: one for one in rows if one.key and one.decided_at is not None}
    found = [
        OutOfPlan(key, what, decided.get(key), key not in decided and key.startswith(unfinished))
        for key, what in derived
    ]
    noted = [OutOfPlan(f"noted {one.id}", one.what, one if one.decided_at else None) for one in rows if not one.key]
    return (*found, *noted)


def undecided(points: Iterable[OutOfPlan]) -> tuple[OutOfPlan, ...]:
    """Return what nobody has decided on yet."""
    return tuple(one for one in points if one.answer is None)


class Reasoned(LongText):
    """Cause, effect or action: it may stay empty until somebody decides."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the text."""
        found = super().read(text, at, form)
        if not found and form.value_of(DeviationForm.decides):
            raise Invalid(at, f"Enter the {self.name}.")
        return found


class DeviationForm(Form):
    """What is noted or decided on something out of plan; ``key`` names what was found, and is empty for a new note.

    ``alike`` decides the same of every line of a batch without a lot, not of that of the key alone.
    """

    key = ShortText("", longest=LONGEST)
    what = Name("What was not as planned", "Enter what was not as planned.", longest=LONGEST)
    cause = Reasoned("Cause", longest=LONGEST)
    effect = Reasoned("Effect", longest=LONGEST)
    action = Reasoned("Action", longest=LONGEST)
    who = SignedBy("Enter who decides.")
    decides = TickBox("")
    alike = TickBox("")


def write_deviation(
    session: Session, record: Batch | PackingRun, points: Iterable[OutOfPlan], typed: DeviationForm
) -> None:
    """Note a deviation of a record, or decide on one of the points that are open.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when nothing of that key is open.
    """
    key = typed.text["key"]
    found = next((one for one in points if one.key == key), None) if key else None
    if key and found is None:
        raise NotFound("That is no longer open; see the record as it is now.")
    form = (typed.but(what=found.what) if found else typed).checked(session)
    row = next((one for one in record.deviations if not one.key and f"noted {one.id}" == key), None)
    if row is None:
        kind = Deviation if isinstance(record, Batch) else PackingDeviation
        row = kind(key=key, what=form.what, found_at=now(), found_by=form.who)
        record.deviations.append(row)  # type: ignore[arg-type]
    row.cause, row.effect, row.action = form.cause, form.effect, form.action
    row.decided_at, row.decided_by = (now(), form.who) if form.decides else (None, "")
    words = "deviation decided" if form.decides else "deviation noted"
    record.log(words, by=form.who, at=now(), new=f"{form.what} {form.action}".strip(), why=form.cause)
    record.touch()
