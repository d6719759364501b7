"""The declarative base: named constraints, strict tables, shared column shapes."""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, ClassVar

from sqlalchemy import CheckConstraint, ForeignKey, Integer, MetaData, Text
from sqlalchemy.orm import DeclarativeBase, mapped_column

from app.store.types import ExactDecimal, Flag, Instant

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
STRICT: dict[str, Any] = {"sqlite_strict": True}

Key = Annotated[int, mapped_column(Integer, primary_key=True)]
Words = Annotated[str, mapped_column(Text, default="")]
Amount = Annotated[Decimal, mapped_column(ExactDecimal)]
MaybeAmount = Annotated[Decimal | None, mapped_column(ExactDecimal)]
Moment = Annotated[datetime, mapped_column(Instant)]
MaybeMoment = Annotated[datetime | None, mapped_column(Instant)]
YesNo = Annotated[bool, mapped_column(Flag, default=False)]


class Base(DeclarativeBase):
    """Every table of the store."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: Text(),
        int: Integer(),
        Decimal: ExactDecimal(),
        datetime: Instant(),
        bool: Flag(),
    }


def number_between(column: str, low: float | None, high: float | None) -> CheckConstraint:
    """Keep an exact decimal column inside limits; both limits are allowed values."""
    value = f"CAST({column} AS REAL)"
    sides = [f"{value} >= {low}" if low is not None else "", f"{value} <= {high}" if high is not None else ""]
    return CheckConstraint(" AND ".join(s for s in sides if s), name=f"{column}_in_range")


def above_zero(column: str) -> CheckConstraint:
    """Keep an exact decimal column above zero."""
    return CheckConstraint(f"CAST({column} AS REAL) > 0", name=f"{column}_above_zero")


def enum_check(column: str, words: type) -> CheckConstraint:
    """Keep a text column to the words of an enumeration."""
    listed = ", ".join(f"'{word.value}'" for word in words)  # type: ignore[attr-defined]
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def not_blank(column: str) -> CheckConstraint:
    """Keep a text column from being empty."""
    return CheckConstraint(f"length(trim({column})) > 0", name=f"{column}_not_blank")


def reference(target: str, *, on_delete: str = "RESTRICT", **options: Any) -> Any:
    """Make an indexed foreign key column; what is still used cannot be deleted unless told otherwise."""
    return mapped_column(Integer, ForeignKey(target, ondelete=on_delete), index=True, **options)
