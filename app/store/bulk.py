"""Rows read and written in bulk, past the mapped objects: for invented workshops, never for what a person does."""

from collections.abc import Iterable
from itertools import islice
from typing import Any, cast

from sqlalchemy import Table, func, insert, select
from sqlalchemy.orm import Session

from app.store.base import Base

AT_ONCE = 20_000
Row = dict[str, Any]


def _table(model: type[Base]) -> Table:
    return cast(Table, model.__table__)


def rows_of(session: Session, model: type[Base], *where: Any) -> tuple[Row, ...]:
    """Return the rows of a table, by id, with the values of its columns."""
    table = _table(model)
    return tuple(dict(row) for row in session.execute(select(table).where(*where).order_by(table.c.id)).mappings())


def put(session: Session, model: type[Base], rows: Iterable[Row]) -> None:
    """Insert rows, some thousands at a time."""
    left = iter(rows)
    while chunk := list(islice(left, AT_ONCE)):
        session.execute(insert(_table(model)), chunk)


def free_id(session: Session, model: type[Base]) -> int:
    """Return the first id after all those of a table."""
    return (session.scalar(select(func.max(_table(model).c.id))) or 0) + 1
