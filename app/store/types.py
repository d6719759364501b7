"""Column types that lose nothing: exact decimals, dates and instants as text, flags as 0 or 1."""

from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from sqlalchemy import BigInteger, Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator, TypeEngine

E = TypeVar("E", bound=StrEnum)


def plain_text(value: Decimal) -> str:
    """Write a finite decimal without exponent or trailing zeros.

    Raises:
        ValueError: for NaN and infinities, which a CHECK would let pass as NULL.
    """
    if not value.is_finite():
        raise ValueError("only finite numbers are stored")
    text = format(value, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text


def day_text(day: date) -> str:
    """Write a date so that day and month cannot be taken for each other.

    >>> day_text(date(2026, 11, 5))
    '5 Nov 2026'
    """
    return f"{day.day} {day:%b %Y}"


class ExactDecimal(TypeDecorator[Decimal]):
    """A decimal kept as text, digit for digit."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Write the decimal as plain text."""
        return None if value is None else plain_text(Decimal(value))

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        """Read the text back."""
        return None if value is None else Decimal(value)


class Millionths(TypeDecorator[Decimal]):
    """A decimal of at most six places, kept as a whole number of millionths: sums in SQL are exact."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Name it as each database does: a strict table of SQLite knows no BIGINT, its integers are as wide."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> int | None:
        """Write the millionths; finer than that is refused."""
        if value is None:
            return None
        scaled = Decimal(value).scaleb(6)
        if scaled != scaled.to_integral_value():
            raise ValueError("an amount of stock has at most six decimals")
        return int(scaled)

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        """Read the decimal back."""
        return None if value is None else Decimal(value).scaleb(-6).normalize() + 0


class Instant(TypeDecorator[datetime]):
    """A moment in UTC, kept as ISO 8601 text so that it sorts as it reads."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Write the moment in UTC; a moment without a zone is refused."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs its time zone")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Read the moment back, in UTC."""
        return None if value is None else datetime.fromisoformat(value)


class IsoDay(TypeDecorator[date]):
    """A calendar date, kept as ISO 8601 text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Dialect) -> str | None:
        """Write the date."""
        return None if value is None else value.isoformat()

    def process_result_value(self, value: Any, dialect: Dialect) -> date | None:
        """Read the date back."""
        return None if value is None else date.fromisoformat(value)


class Flag(TypeDecorator[bool]):
    """A yes or no, kept as 1 or 0."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> int | None:
        """Write 1 or 0."""
        return None if value is None else int(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bool | None:
        """Read the flag back."""
        return None if value is None else bool(value)


class Word(TypeDecorator[E]):
    """One word of a fixed list, kept as text."""

    impl = Text
    cache_ok = True

    def __init__(self, words: type[E]) -> None:
        super().__init__()
        self.words = words

    def process_bind_param(self, value: E | str | None, dialect: Dialect) -> str | None:
        """Write the word; a word outside the list is refused."""
        return None if value is None else self.words(value).value

    def process_result_value(self, value: Any, dialect: Dialect) -> E | None:
        """Read the word back."""
        return None if value is None else self.words(value)
