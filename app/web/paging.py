"""Long lists shown a page at a time: by places skipped where the whole is not counted, by number where it is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar
from urllib.parse import urlencode

from flask import request

from app.web.row_number import number

ROWS = 100
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class ListPage(Generic[Row]):
    """Some rows of a list: ``before`` and ``after`` are the addresses of its neighbours, empty where there is none.

    ``first`` is the place of the first row, from 1 on; ``count`` says the rows of the whole list and ``pages`` its
    pages, None and 0 where nobody counted.
    """

    rows: Sequence[Row]
    first: int
    before: str
    after: str
    number: int = 1
    pages: int = 0
    count: int | None = None


def page_after_skipped(load: Callable[[int], Sequence[Row]], most: int) -> ListPage[Row]:
    """Return the page after as many rows as the address skips; ``load`` gives up to ``most`` + 1 rows after those."""
    skip = number(request.args.get("skip", "")) or 0
    rows = load(skip)
    before = _address(skip=max(skip - most, 0)) if skip else ""
    return ListPage(rows[:most], skip + 1, before, _address(skip=skip + most) if len(rows) > most else "")


def asked_page(rows: Sequence[Row]) -> ListPage[Row]:
    """Return the page of a list that the address asks for by number; beyond the end it is the last one."""
    found = min(max(asked_number(), 1), max(1, -(-len(rows) // ROWS)))
    return counted_page(rows[(found - 1) * ROWS : found * ROWS], found, len(rows))


def counted_page(rows: Sequence[Row], found: int, count: int, path: str = "", most: int = ROWS) -> ListPage[Row]:
    """Return a page that was cut already: its number, the rows of the whole, where the list is, and rows on a page."""
    pages = max(1, -(-count // most))
    before = _address(path, page=found - 1) if found > 1 else ""
    after = _address(path, page=found + 1) if found < pages else ""
    return ListPage(rows, (found - 1) * most + 1, before, after, found, pages, count)


def asked_number() -> int:
    """Return which page the address asks for."""
    return number(request.args.get("page", "")) or 1


def _address(path: str = "", **place: int) -> str:
    """Return the address of the same list at another place; what was asked with an empty field is left out."""
    asked = {name: text for name, text in request.args.items() if text and name not in ("skip", "page")}
    return f"{path or request.path}?{urlencode({**asked, **place})}"
