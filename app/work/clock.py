"""The one place that asks what time it is."""

from datetime import UTC, date, datetime


def now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Return the present calendar date where the workshop is."""
    return datetime.now().astimezone().date()
