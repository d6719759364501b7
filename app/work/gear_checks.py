"""Checks of scales, pH meters and thermometers against a reference: which are due, and which passed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.workshop import GearCheck, scales
from app.work.action import action
from app.work.clock import today
from app.work.form import Form, rule
from app.work.form_fields import Day, Name, ShortText, TickBox
from app.work.people import SignedBy


@dataclass(frozen=True, slots=True)
class GearRow:
    """A piece of gear with its last check, None where there was none; ``is_due`` where that failed or is past."""

    name: str
    last: GearCheck | None
    is_due: bool


def gear_rows(session: Session, on: date | None = None, used: Iterable[str] = ()) -> list[GearRow]:
    """Return every scale, and what else was ever checked, by name, as it stood on a day (today where none is given).

    What is ``used`` stands there too, though it may no longer be in the workshop.
    """
    day = on or today()
    found: dict[str, GearCheck | None] = dict.fromkeys([*(scale.name for scale in scales(session)), *used])
    past = select(GearCheck).where(GearCheck.checked_on <= day).order_by(GearCheck.checked_on, GearCheck.id)
    for check in session.scalars(past):
        found[check.gear] = check
    rows = (
        GearRow(gear, check, check is not None and (not check.passed or check.next_due < day))
        for gear, check in found.items()
    )
    return sorted(rows, key=lambda row: row.name.casefold())


def load_gear(store: Store) -> list[GearRow]:
    """Return the gear, for a page."""
    with store.reading() as session:
        return gear_rows(session)


def due_gear(session: Session, names: set[str]) -> tuple[str, ...]:
    """Return which of some gear is overdue for its check, or failed it; what was never checked is not asked for."""
    return tuple(row.name for row in gear_rows(session) if row.name in names and row.is_due)


class GearCheckForm(Form):
    """A check: against what, what was read, what was allowed, and when the next one is due."""

    gear = Name("Equipment", "Enter what was checked, such as Pocket scale or pH meter.")
    checked_on = Day("Checked on")
    reference = Name("Against", "Enter against what, such as 100 g weight or buffer 7.")
    reading = Name("Reading", "Enter what it showed.", width="w8")
    limit = ShortText("Allowed", column="limit_text", width="w8")
    passed = TickBox("Passed")
    next_due = Day("Next due")
    who = SignedBy("Enter who checked it.")

    @rule
    def the_next_one_comes_later(self) -> None:
        """Refuse a next check before this one."""
        if self.next_due < self.checked_on:
            raise Invalid("next_due", "The next check is due before this one.")


@action(once="check of gear")
def record_check(session: Session, typed: GearCheckForm, *, key: str = "") -> None:
    """Record that a piece of gear was checked; earlier checks stay.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    session.add(GearCheck(**typed.checked(session).columns()))
