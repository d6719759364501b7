"""The area of the rules; the checks of a formula stand under the address of the formula."""

from collections.abc import Sequence
from typing import TypeVar

from flask import Blueprint, request
from werkzeug.wrappers import Response

from app.web.row_number import number

blueprint = Blueprint("rules", __name__)
Page = str | Response | tuple[str, int]
ROWS = 100
Row = TypeVar("Row")


def asked_page(rows: Sequence[Row]) -> tuple[Sequence[Row], int, int]:
    """Return the rows of the page that is asked for, its number and how many pages there are."""
    pages = max(1, -(-len(rows) // ROWS))
    page = min(max(number(request.args.get("page", "")) or 1, 1), pages)
    return rows[(page - 1) * ROWS : page * ROWS], page, pages
