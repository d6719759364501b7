"""The one place that asks what time it is."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, time

_set: ContextVar[datetime | None] = ContextVar("set", default=None)


def now() -> datetime:
    """Return the present moment in UTC."""
    return _set.get() or datetime.now(UTC)


def today() -> date:
    """Return the present calendar date where the workshop is."""
    return (_set.get() or datetime.now(UTC)).astimezone().date()


@contextmanager
def as_of(day: date | str, at: str = "09:00") -> Iterator[None]:
    """Let it be a time of an earlier day meanwhile; the demonstration is written as its workshop would have done it.

    A moment that has not come yet is the present one.
    """
    day = date.fromisoformat(day) if isinstance(day, str) else day
    wanted = datetime.combine(day, time.fromisoformat(at)).astimezone(UTC)
    mark = _set.set(min(wanted, datetime.now(UTC)))
    try:
        yield
    finally:
        _set.reset(mark)
