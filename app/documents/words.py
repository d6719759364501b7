"""How numbers, money and dates are written, on pages and on paper alike."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from babel.numbers import get_currency_symbol
from jinja2 import Environment, pass_context
from jinja2.runtime import Context
from markupsafe import Markup, escape

from app.documents.drawings.making import making_of
from app.documents.drawings.shapes import Drawing
from app.documents.drawings.shares import Share, weight_against_cost
from app.science.acid_base.wording import in_words, range_in_words
from app.science.numbers import figures, to_places
from app.store.types import day_text, plain_text
from app.store.workshop import Workshop
from app.work.pricing import in_currency

if TYPE_CHECKING:
    from app.work.cost_sheet import CostSheet

DASH = "–"
FIGURE_WIDE, POINT_WIDE = "\u2007", "\u2008"


def register_filters(environment: Environment) -> None:
    """Give an environment the filters every template may use."""
    environment.trim_blocks = environment.lstrip_blocks = True
    environment.filters.update(
        plain=plain,
        at_point=at_point,
        places=places,
        figures=some_figures,
        signed=signed,
        grams=grams,
        count_of=count_of,
        money=money,
        money_in=money_in,
        day=day,
        moment=moment,
        phase_class=phase_class,
        first_upper=first_upper,
        soft_breaks=soft_breaks,
        weight_against_cost=drawn_shares,
        making_of=making_of,
        ph_words=in_words,
        ph_range=range_in_words,
    )


def first_upper(text: str) -> str:
    """Write a text with a capital at its beginning and the rest as it stands, but for words such as pH.

    >>> first_upper("in process"), first_upper("hand gel with AHA"), first_upper("pH adjusters")
    ('In process', 'Hand gel with AHA', 'pH adjusters')
    """
    return text if text[1:2].isupper() else text[:1].upper() + text[1:]


def plain(value: Decimal | None) -> str:
    """Write a decimal as it is, without trailing zeros; a dash for none."""
    return DASH if value is None else plain_text(value)


def places(value: Decimal | None, count: int) -> str:
    """Write a decimal with a fixed number of places, half up; a dash for none."""
    if value is None:
        return DASH
    return f"{value.quantize(Decimal(1).scaleb(-count), rounding='ROUND_HALF_UP'):f}"


def some_figures(value: Decimal | None, digits: int = 4) -> str:
    """Write a decimal with so many significant figures; a dash for none."""
    return DASH if value is None else figures(value, digits)


def signed(text: str) -> str:
    """Write a number that was written already as a change: with its sign, and none where it is nought.

    >>> signed("5"), signed("-0.30"), signed("0.00"), signed("-0")
    ('+5', '−0.30', '0.00', '0')
    """
    bare = text.removeprefix("-")
    if not bare.strip("0."):
        return bare
    return f"{'+' if bare == text else '−'}{bare}"


def grams(value: Decimal | None) -> str:
    """Write a worked-out weight in g: to 0.01 g, below 1 g to three significant figures; a dash for none.

    >>> grams(Decimal("907.18474")), grams(Decimal("57.9641179425")), grams(Decimal("0.002835")), grams(Decimal(600))
    ('907.18', '57.96', '0.00284', '600')
    """
    if value is None:
        return DASH
    return plain_text(to_places(value, 2)) if abs(value) >= 1 else figures(value, 3)


def count_of(number: int, noun: str) -> str:
    """Write a number with its noun, one or many.

    >>> count_of(1, "unit"), count_of(0, "complaint")
    ('1 unit', '0 complaints')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def decimals(text: str) -> str:
    """Return how many decimals a typed or written number has, or nothing when it is none.

    >>> decimals("68.15"), decimals("+5"), decimals("0,3 %"), decimals("q.s.")
    ('2', '0', '1', '')
    """
    number = text.strip().lstrip("+−-").removesuffix("g").removesuffix("%").strip().replace(",", ".")
    whole, point, part = number.partition(".")
    if not (whole + part).isdecimal() or (point and not part):
        return ""
    return str(min(len(part), 6))


def at_point(text: str, column: int | Iterable[str]) -> Markup | str:
    """Return a written number with what it lacks to stand at the point of its column, in blanks as wide as figures.

    The blanks stand in a ``span`` of class ``pad``, so that a row shown as a card can do without them.

    Args:
        text: the number, with its unit where it has one.
        column: the most decimals of the column, or the texts it holds.

    >>> str(at_point("5", 2)).count(FIGURE_WIDE), str(at_point("1.5 g", ["0.25 g"])).startswith("1.5 g<")
    (2, True)
    """
    most = column if isinstance(column, int) else _most_decimals(tuple(column))
    own = decimals(text)
    if not own:
        return text
    pad = (POINT_WIDE if own == "0" and most else "") + FIGURE_WIDE * (most - int(own))
    return Markup('{}<span class="pad">{}</span>').format(text, pad) if pad else text


@lru_cache(maxsize=64)
def _most_decimals(column: tuple[str, ...]) -> int:
    """Return the most decimals of a column, counted once for all its rows."""
    return max((int(decimals(one) or 0) for one in column), default=0)


@pass_context
def money(context: Context, value: Decimal | None) -> str:
    """Write an amount in the workshop's currency, with that currency's decimals; a dash for none."""
    if value is None:
        return DASH
    shop = _workshop(context.resolve("workshop"))
    return in_currency(value, shop.currency, shop.locale)


@pass_context
def money_in(context: Context, value: Decimal | None, currency: str) -> str:
    """Write an amount in a currency of its own, or without one in the workshop's; a dash for none."""
    if value is None:
        return DASH
    shop = _workshop(context.resolve("workshop"))
    return in_currency(value, currency or shop.currency, shop.locale)


def symbol_of(shop: Workshop) -> str:
    """Return the symbol of a workshop's currency."""
    return str(get_currency_symbol(shop.currency, locale=shop.locale))


def _workshop(found: Any) -> Workshop:
    shop: Workshop = found() if callable(found) else found
    return shop


def day(value: date | None) -> str:
    """Write a date so that day and month cannot be taken for each other; a dash for none."""
    return DASH if value is None else day_text(value)


def moment(value: datetime | None) -> str:
    """Write a moment in local time; a dash for none."""
    return DASH if value is None else f"{day(value.astimezone().date())}, {value.astimezone():%H:%M}"


def phase_class(letter: str) -> str:
    """Name the pattern class of a phase letter; letters past H start over."""
    return f"phase-{'abcdefgh'[(ord(letter[:1].upper() or 'A') - ord('A')) % 8]}"


def soft_breaks(text: str) -> Markup:
    """Let a long name break after slashes, with everything else escaped."""
    return Markup("/<wbr>").join(escape(part) for part in text.split("/"))


def drawn_shares(sheet: "CostSheet", wide: bool) -> Drawing:
    """Draw what the materials of a cost sheet weigh and cost."""
    whole = sheet.weighing.total_g
    rows = [
        Share(row.name, float(100 * row.grams / whole), None if row.per_kg is None else float(row.share_percent or 0))
        for row in sheet.materials
    ]
    return weight_against_cost(rows, wide=wide)
