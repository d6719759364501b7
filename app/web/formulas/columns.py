"""The columns of the ledger that each person chooses; kept in this browser for a year, by the name of who works.

A cookie and not a row of the workshop, since the choice belongs to a screen as much as to a person: the phone beside
the scale has room for fewer than the desk, and nothing of the workshop's records hangs on it.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from flask import Request
from werkzeug.wrappers import Response

from app.documents.words import plain, some_figures
from app.science.formula_cost import price_for
from app.science.names import inci_key
from app.store.workshop import Workshop
from app.work.formulas.results import LineResult
from app.work.pricing import in_currency

COOKIE = "tarebook_columns"
YEAR_S = 365 * 24 * 3600
MOST_PEOPLE = 20
KILOGRAM = Decimal(1000)
WATER = frozenset({inci_key("Aqua"), inci_key("Water")})


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its short name and its heading."""

    name: str
    words: str


COLUMNS = (
    Column("inci", "INCI"),
    Column("function", "Function"),
    Column("active", "Without water, %"),
    Column("range", "Usual use, %"),
    Column("price", "Per kg"),
)


def chosen(request: Request, person: str) -> tuple[Column, ...]:
    """Return the columns that a person chose in this browser, in their fixed order."""
    names = _kept(request).get(person, [])
    return tuple(column for column in COLUMNS if column.name in names)


def keep(response: Response, request: Request, person: str, names: Sequence[str]) -> None:
    """Keep the columns of a person."""
    kept = {**_kept(request), person: [column.name for column in COLUMNS if column.name in names]}
    text = json.dumps(dict(list(kept.items())[-MOST_PEOPLE:]))
    response.set_cookie(COOKIE, text, max_age=YEAR_S, httponly=True, samesite="Lax")


def _kept(request: Request) -> dict[str, list[str]]:
    try:
        found = json.loads(request.cookies.get(COOKIE, "{}"))
    except ValueError:
        return {}
    sound = isinstance(found, dict) and all(isinstance(names, list) for names in found.values())
    return found if sound else {}


def column_values(line: LineResult, columns: Sequence[Column], shop: Workshop) -> dict[str, str]:
    """Return what stands in the chosen columns of a line."""
    return {column.name: _value(column.name, line, shop) for column in columns}


def _value(name: str, line: LineResult, shop: Workshop) -> str:
    material, percent = line.material, line.percent
    if material is None:
        return ""
    if name == "inci":
        return ", ".join(part.inci for part in material.parts)
    if name == "function":
        return material.functions
    if name == "active":
        dry = sum((part.percent for part in material.parts if inci_key(part.inci) not in WATER), Decimal(0))
        return some_figures(percent * dry / 100, 3) if percent is not None and material.parts else ""
    if name == "range":
        low, high = material.use_low, material.use_high
        return "" if high is None else f"up to {plain(high)}" if low is None else f"{plain(low)} to {plain(high)}"
    price = price_for(material.prices, line.grams or KILOGRAM)
    return "" if price is None else in_currency(price.per_g * KILOGRAM, price.currency or shop.currency, shop.locale)
