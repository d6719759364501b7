"""The settings of the workshop: who it is, its money, its paper, its law and how it numbers batches."""

from dataclasses import dataclass, fields
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import TypeVar

from babel import Locale
from babel.core import get_global
from babel.localedata import locale_identifiers
from babel.numbers import get_currency_name

from app.science.batch_number import parse_pattern
from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.workshop import Jurisdiction, Paper, Workshop, the_workshop
from app.work.materials.typed_material import number
from app.work.typed import Reader, maybe_number, name, one_line, words

HIGHEST_RATE = Decimal(10) ** 6
HUNDRED = Decimal(100)
NEARLY_ALL = Decimal(99)
ZERO = Decimal(0)
W = TypeVar("W", bound=StrEnum)

LABELS = {
    "name": "Name of the workshop",
    "address": "Address",
    "contact": "Contact",
    "currency": "Currency",
    "locale": "How money is written",
    "paper": "Paper",
    "jurisdiction": "Whose label rules",
    "batch_number_pattern": "Pattern of batch numbers",
    "labour_rate": "Labour, an hour",
    "overhead_percent": "Overhead",
    "tax_percent": "Tax",
    "loss_percent": "Usual process loss",
}


@dataclass(frozen=True, slots=True)
class TypedSettings:
    """The settings as typed."""

    name: str = ""
    address: str = ""
    contact: str = ""
    currency: str = "EUR"
    locale: str = "en"
    paper: str = Paper.A4.value
    jurisdiction: str = Jurisdiction.EU.value
    batch_number_pattern: str = "{code}-{year}-{count}"
    labour_rate: str = ""
    overhead_percent: str = ""
    tax_percent: str = ""
    loss_percent: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """A value that can be chosen, with its words."""

    value: str
    words: str


@cache
def currencies() -> tuple[Choice, ...]:
    """The currencies that are legal tender somewhere today, by code, from babel's copy of the Unicode locale data."""
    tenders = (tender for history in get_global("territory_currencies").values() for tender in history)
    codes = {code for code, _since, until, legal in tenders if until is None and legal}
    return tuple(Choice(code, f"{code}, {get_currency_name(code, locale='en')}") for code in sorted(codes))


@cache
def locales() -> tuple[Choice, ...]:
    """The languages with a country or without one that money can be written in, by their English names."""
    english = Locale("en")
    plain = [Locale.parse(tag) for tag in locale_identifiers() if _is_plain(tag)]
    named = (Choice(str(place), str(place.get_display_name(english) or place)) for place in plain)
    return tuple(sorted(named, key=lambda choice: choice.words))


def _is_plain(tag: str) -> bool:
    _language, *rest = tag.split("_")
    return len(rest) <= 1 and all(len(piece) == 2 and piece.isupper() for piece in rest)


def as_typed(shop: Workshop) -> TypedSettings:
    """Give the stored settings as they would be typed."""
    return TypedSettings(**{f.name: _text(getattr(shop, f.name)) for f in fields(TypedSettings)})


def _text(value: object) -> str:
    return number(value) if isinstance(value, Decimal) else str(value)


def read_settings(typed: TypedSettings) -> dict[str, object]:
    """Read every setting; numbers left empty are zero.

    Raises:
        Faults: with everything that is wrong, each at the name of its field.
    """
    reader = Reader()
    take = reader.take
    values: dict[str, object] = {
        "name": take(name, typed.name, "name", "Give the workshop a name; it stands on every sheet."),
        "address": take(words, typed.address, "address", longest=1000),
        "contact": take(one_line, typed.contact, "contact"),
        "currency": take(_currency, typed.currency),
        "locale": take(_locale, typed.locale),
        "paper": take(_word, Paper, typed.paper, "paper", "Choose A4 or Letter."),
        "jurisdiction": take(_word, Jurisdiction, typed.jurisdiction, "jurisdiction", "Choose EU or US."),
        "batch_number_pattern": take(_pattern, typed.batch_number_pattern),
        "labour_rate": take(_amount, typed.labour_rate, "labour_rate", HIGHEST_RATE),
        "overhead_percent": take(_amount, typed.overhead_percent, "overhead_percent", HUNDRED * 10),
        "tax_percent": take(_amount, typed.tax_percent, "tax_percent", HUNDRED),
        "loss_percent": take(_amount, typed.loss_percent, "loss_percent", NEARLY_ALL),
    }
    reader.finish()
    return values


def _currency(text: str) -> str:
    code = text.strip().upper()
    if code not in {choice.value for choice in currencies()}:
        raise Invalid("currency", "Choose a currency of the list.")
    return code


def _locale(text: str) -> str:
    if text.strip() not in {choice.value for choice in locales()}:
        raise Invalid("locale", "Choose a language of the list.")
    return text.strip()


def _word(kind: type[W], text: str, field: str, asked: str) -> W:
    try:
        return kind(text)
    except ValueError as error:
        raise Invalid(field, asked) from error


def _pattern(text: str) -> str:
    parse_pattern(text)
    return text.strip()


def _amount(text: str, field: str, most: Decimal) -> Decimal:
    return maybe_number(text, field, low=ZERO, high=most) or ZERO


def load_workshop(store: Store) -> Workshop:
    """Read the workshop."""
    with store.reading() as session:
        return the_workshop(session)


def change_settings(store: Store, typed: TypedSettings, row_version: int) -> None:
    """Write the settings.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when they changed since version ``row_version`` was read.
    """
    values = read_settings(typed)
    with store.transaction() as session:
        shop = the_workshop(session)
        if shop.row_version != row_version:
            raise Conflict("The settings were changed in the meantime.")
        for column, value in values.items():
            setattr(shop, column, value)
