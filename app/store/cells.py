"""The cells of a file as values of the columns of the store."""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import Integer, Text

from app.store.types import ExactDecimal, Flag, Instant, IsoDay, Millionths, Word

NUMBER = re.compile(r"-?\d{1,12}(\.\d{1,28})?")
WHOLE = re.compile(r"\d{1,9}")
LONGEST = 200_000


def _short_text(text: str) -> str:
    if len(text) > LONGEST:
        raise ValueError("is too long")
    return text


def _flag(text: str) -> bool:
    if text not in ("", "yes"):
        raise ValueError(f"is {text[:20]!r}; it has to be yes or empty")
    return text == "yes"


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError("is a moment without its time zone")
    return moment


def _decimal(text: str) -> Decimal:
    if not NUMBER.fullmatch(text):
        raise ValueError(f"is no number: {text[:20]!r}")
    return Decimal(text)


def _whole(text: str) -> int:
    if not WHOLE.fullmatch(text):
        raise ValueError(f"is no whole number: {text[:20]!r}")
    return int(text)


READERS: Mapping[type, Callable[[str], object]] = {
    Text: _short_text, Flag: _flag, IsoDay: date.fromisoformat, Instant: _moment, ExactDecimal: _decimal,
    Millionths: _decimal, Integer: _whole,
}  # fmt: skip


def read_cell(column: Any, text: str) -> object:
    """Return the value of a cell for a column of the store.

    Raises:
        ValueError: with what is wrong in words.
    """
    kind = column.type
    if not text and not isinstance(kind, Text | Flag):
        if not column.nullable:
            raise ValueError("is empty")
        return None
    return kind.words(text) if isinstance(kind, Word) else READERS[type(kind)](text)
