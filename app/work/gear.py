"""Checks of scales, pH meters and thermometers against a reference: which are due, and which passed."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.workshop import GearCheck, scales
from app.work.action import action
from app.work.clock import today
from app.work.field_reading import FieldReader, one_line, required_line
from app.work.people import person_named

LONGEST = 200


@dataclass(frozen=True, slots=True)
class GearRow:
    """A piece of gear with its last check, None where there was none; ``is_due`` where that failed or is past."""

    name: str
    last: GearCheck | None
    is_due: bool


def gear_rows(session: Session, on: date | None = None) -> list[GearRow]:
    """Return every scale, and what else was ever checked, by name, as it stood on a day (today where none is given)."""
    day = on or today()
    found: dict[str, GearCheck | None] = {scale.name: None for scale in scales(session)}
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


@dataclass(frozen=True, slots=True)
class TypedGearCheck:
    """What was typed about a check: against what, what was read, what was allowed, and when the next one is due."""

    gear: str
    checked_on: str
    reference: str
    reading: str
    limit: str
    passed: bool
    next_due: str
    who: str


@action(once="check of gear")
def record_check(session: Session, typed: TypedGearCheck, *, key: str = "") -> None:
    """Record that a piece of gear was checked; earlier checks stay.

    Raises:
        Faults: at ``gear``, ``checked_on``, ``reference``, ``reading``, ``limit``, ``next_due`` or ``who``.
    """
    reader = FieldReader()
    gear = reader.read(required_line, typed.gear, "gear", "Write what was checked, such as Pocket scale or pH meter.")
    reference = reader.read(
        required_line, typed.reference, "reference", "Write against what, such as 100 g weight or buffer 7."
    )
    reading = reader.read(required_line, typed.reading, "reading", "Write what it showed.")
    limit = reader.read(one_line, typed.limit, "limit", longest=LONGEST)
    day = reader.read(_day, typed.checked_on, "checked_on")
    due = reader.read(_day, typed.next_due, "next_due")
    who = reader.read(person_named, session, typed.who, "who", "Write who checked it.")
    if day is not None and due is not None and due < day:
        reader.refuse("next_due", "The next check is due before this one.")
    reader.finish()
    session.add(
        GearCheck(
            gear=gear,
            checked_on=day,
            reference=reference,
            reading=reading,
            limit_text=limit,
            passed=typed.passed,
            next_due=due,
            by=who,
        )
    )


def _day(text: str, field: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise Invalid(field, "Write the date as year-month-day, such as 2026-11-30.") from error
