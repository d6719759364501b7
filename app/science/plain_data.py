"""Frozen dataclasses to plain data and back: decimals, dates and enumerations as text, tuples as lists.

The plain form is what a file or a column keeps. What a later program added is left out when an earlier one reads
it, and what an earlier one did not know takes the default of its field.
"""

import dataclasses
from dataclasses import fields
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from app.science.numbers import plain

T = TypeVar("T")


def to_plain(value: Any) -> Any:
    """Return a value as numbers, texts, lists and dictionaries.

    Fields of a dataclass that do not take part in comparison (``compare=False``) are left out.

    Raises:
        TypeError: for a type that has no plain form.
    """
    if value is None or isinstance(value, (bool, int, float, StrEnum)) or type(value) is str:
        return value.value if isinstance(value, StrEnum) else value
    if isinstance(value, Decimal):
        return plain(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [to_plain(item) for item in value]
    if dataclasses.is_dataclass(value):
        return {field.name: to_plain(getattr(value, field.name)) for field in fields(value) if field.compare}
    raise TypeError(f"{type(value).__name__} has no plain form")


def from_plain(kind: type[T], data: Any) -> T:
    """Return the value of a type from its plain form.

    Raises:
        ValueError: when the data is not what the type needs.
    """
    try:
        found: T = _read(kind, data)
    except (KeyError, TypeError, AttributeError, ArithmeticError) as error:
        raise ValueError(f"this is no {kind.__name__}") from error
    return found


def _read(kind: Any, data: Any) -> Any:
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        inner = next(one for one in get_args(kind) if one is not NoneType)
        return None if data is None else _read(inner, data)
    if origin is tuple:
        inner = get_args(kind)[0]
        return tuple(_read(inner, item) for item in data)
    if dataclasses.is_dataclass(kind):
        make: Any = kind
        return make(**{name: _read(hint, data[name]) for name, hint in _hints(make) if name in data})
    if kind is date:
        return date.fromisoformat(data)
    if kind is Decimal or issubclass(kind, StrEnum):
        return kind(data)
    if not isinstance(data, kind):
        raise TypeError(f"{data!r} is no {kind.__name__}")
    return data


@cache
def _hints(kind: Any) -> tuple[tuple[str, Any], ...]:
    found = get_type_hints(kind)
    return tuple((field.name, found[field.name]) for field in fields(kind) if field.compare)
