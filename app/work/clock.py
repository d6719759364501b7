"""The one place that asks what time it is."""

from datetime import UTC, date, datetime


def now() -> datetime:
    """Give the present moment in UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Give the present calendar date where the workshop is."""
    return datetime.now().astimezone().date()
