"""A page of several queries read one after another, none of them further than the page needs."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session


def rows_after(session: Session, asked: Sequence[Select[*tuple[Any, ...]]], skip: int, most: int) -> list[Any]:
    """Return up to so many rows of queries read in this order, after those that are skipped."""
    found: list[Any] = []
    for one in asked:
        if len(found) == most:
            break
        rows = session.execute(one.offset(skip).limit(most - len(found))).all()
        if rows or not skip:
            found, skip = [*found, *rows], 0
        else:
            skip -= session.scalar(select(func.count()).select_from(one.order_by(None).subquery())) or 0
    return found
