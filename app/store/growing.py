"""What the records that only grow share: history, deviations with what was decided, correction by a new row."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, ClassVar, Protocol, TypeVar, cast

from sqlalchemy import CheckConstraint, inspect
from sqlalchemy.orm import Mapped
from sqlalchemy.orm.attributes import flag_modified

from app.store.base import STRICT, MaybeMoment, Words, not_blank


class Replaceable(Protocol):
    """A row that a later one may replace by naming it."""

    id: Any
    replaces_id: Any


R = TypeVar("R", bound=Replaceable)


def standing(rows: Iterable[R]) -> tuple[R, ...]:
    """Return the rows that no later one replaces, in their order."""
    listed = tuple(rows)
    replaced = {row.replaces_id for row in listed} - {None}
    return tuple(row for row in listed if row.id not in replaced)


class EventColumns:
    """A line of a history: what changed from what to what, who, when and why. Never altered."""

    at: Mapped[datetime]
    by: Mapped[Words]
    what: Mapped[str]
    old: Mapped[Words]
    new: Mapped[Words]
    why: Mapped[Words]


def event_rules() -> tuple[Any, ...]:
    """Return what the table of a history holds to."""
    return (not_blank("what"), STRICT)


class WithHistory:
    """A record with a ``history`` of lines of `EventColumns`."""

    def log(self, what: str, *, by: str, at: datetime, old: str = "", new: str = "", why: str = "") -> None:
        """Add a line to the history."""
        event = inspect(type(self)).relationships["history"].mapper.class_
        cast(Any, self).history.append(event(at=at, by=by.strip(), what=what, old=old, new=new, why=why.strip()))


class Touched:
    """A record whose parts are rows of their own; ``touched_column`` is one of its columns, written again unchanged."""

    touched_column: ClassVar[str]

    def touch(self) -> None:
        """Count the record as changed although only its parts were, so that an older form is recognised."""
        flag_modified(self, self.touched_column)


class DeviationColumns:
    """Something that was not as planned: what, its cause, effect and action, and who decided on it.

    ``key`` names what it answers, with the value that was found, so that another value asks again; it is empty for one
    that a person noted. Once decided, it is never altered.
    """

    key: Mapped[Words]
    what: Mapped[str]
    found_at: Mapped[datetime]
    found_by: Mapped[Words]
    cause: Mapped[Words]
    effect: Mapped[Words]
    action: Mapped[Words]
    decided_at: Mapped[MaybeMoment]
    decided_by: Mapped[Words]


def deviation_rules() -> tuple[Any, ...]:
    """Return what the table of deviations of a record holds to."""
    signed = "(decided_at IS NULL) = (length(trim(decided_by)) = 0)"
    return (not_blank("what"), CheckConstraint(signed, name="decision_is_signed"), STRICT)
