"""What every request and answer model shares: no unknown keys, exact numbers, days and flags as JSON has them."""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

LARGEST = Decimal("1e12")
SMALLEST = Decimal("1e-12")  # a thousandth of a nanogram; nothing smaller is weighed, paid or measured
MOST_CHARACTERS = 40
ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def _exact_number(value: Any) -> Decimal:
    """Take a JSON number or a decimal string; refuse everything else in plain words."""
    if isinstance(value, bool) or not isinstance(value, int | float | str | Decimal):
        raise ValueError("write a number, such as 2.5")
    text = str(value).strip()
    if len(text) > MOST_CHARACTERS or not text.isascii() or "_" in text:
        raise ValueError("write a number with at most 40 digits")
    try:
        number = Decimal(text)
    except ArithmeticError as error:
        raise ValueError("write a number, such as 2.5") from error
    if not number.is_finite() or abs(number) > LARGEST:
        raise ValueError("the number must be finite and at most 1e12")
    if number and abs(number) < SMALLEST:
        raise ValueError("the number is too small: write 0, or at least 1e-12")
    return number


Number = Annotated[
    Decimal, BeforeValidator(_exact_number), WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}]})
]
NonNegative = Annotated[Number, Field(ge=0)]
Positive = Annotated[Number, Field(gt=0)]
Percent = Annotated[Number, Field(ge=0, le=100)]
# A result: exact inside, a plain JSON number outside; never limited in digits as a request is.
Figure = Annotated[Decimal, WithJsonSchema({"type": "number"})]
# A result of the chemistry, which works in binary floats.
Measured = Annotated[float, WithJsonSchema({"type": "number"})]


def _id(value: Any) -> Any:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


# What a caller calls a line; a whole number is taken as its digits.
Id = Annotated[
    str,
    BeforeValidator(_id),
    Field(min_length=1, max_length=400),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "integer"}]}),
]
Text = Annotated[str, Field(min_length=1, max_length=400)]
Flag = Annotated[bool, Field(strict=True)]


def _day(value: Any) -> Any:
    """Take a day as ISO 8601 writes it and nothing else: a number of seconds is no day."""
    if not isinstance(value, str) or not ISO_DAY.fullmatch(value.strip()):
        raise ValueError("write a day as year-month-day, such as 2026-11-25")
    try:
        day = date.fromisoformat(value.strip())
    except ValueError:
        raise ValueError(f"there is no day {value.strip()}") from None
    if not 1900 <= day.year <= 9000:
        raise ValueError("write a day of the years 1900 to 9000")
    return day


Day = Annotated[date, BeforeValidator(_day)]


def _not_a_flag(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("write a whole number, such as 12")
    return value


Whole = Annotated[int, BeforeValidator(_not_a_flag), WithJsonSchema({"type": "integer"})]


class RequestModel(BaseModel):
    """A request: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


class AnswerModel(BaseModel):
    """An answer: decimals leave as JSON numbers."""

    model_config = ConfigDict(extra="forbid", frozen=True)
