"""The settings of the workshop: who it is, its money, its paper, its law and how it numbers batches."""

from decimal import Decimal
from functools import cache

from babel import Locale
from babel.core import get_global
from babel.localedata import locale_identifiers
from babel.numbers import get_currency_name

from app.science.batch_number import parse_pattern
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.workshop import Jurisdiction, Paper, Workshop, the_workshop
from app.work.form import Choice, Form
from app.work.form_fields import Area, Line, Listed, Name, Number, OneOf

ZERO = Decimal(0)


@cache
def currencies() -> tuple[Choice, ...]:
    """Return the currencies that are legal tender somewhere today, by code, from babel's copy of the Unicode data."""
    tenders = (tender for history in get_global("territory_currencies").values() for tender in history)
    codes = {code for code, _since, until, legal in tenders if until is None and legal}
    return tuple(Choice(code, f"{code}, {get_currency_name(code, locale='en')}") for code in sorted(codes))


@cache
def locales() -> tuple[Choice, ...]:
    """Return the languages with a country or without one that money can be written in, by their English names."""
    english = Locale("en")
    plain = [Locale.parse(tag) for tag in locale_identifiers() if _is_plain(tag)]
    named = (Choice(str(place), str(place.get_display_name(english) or place)) for place in plain)
    return tuple(sorted(named, key=lambda choice: choice.words))


def _is_plain(tag: str) -> bool:
    _language, *rest = tag.split("_")
    return len(rest) <= 1 and all(len(piece) == 2 and piece.isupper() for piece in rest)


class Currency(Listed):
    """A currency by its code, in capitals or not."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the code in capitals."""
        return super().read(text.upper(), at, form)


class NumberPattern(Line):
    """The pattern that batch numbers are made by."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the pattern, which makes numbers that differ."""
        parse_pattern(text)
        return text.strip()


class SettingsForm(Form):
    """The settings; numbers left empty are zero."""

    name = Name(
        "Name of the workshop",
        "Give the workshop a name; it stands on every sheet.",
        hint="It stands on every sheet.",
        width="w20",
    )
    address = Area("Address", longest=1000, hint="As it should stand on a label.")
    contact = Line("Contact", hint="A telephone number or an e-mail address.", width="w20")
    currency = Currency(
        "Currency",
        currencies,
        "Choose a currency of the list.",
        default="EUR",
        hint="Prices that are noted already keep their figures.",
    )
    locale = Listed("How money is written", locales, "Choose a language of the list.", default="en")
    paper = OneOf("Paper", Paper, "Choose A4 or Letter.", default=Paper.A4.value)
    jurisdiction = OneOf("Whose label rules", Jurisdiction, "Choose EU or US.", default=Jurisdiction.EU.value)
    batch_number_pattern = NumberPattern(
        "Pattern of batch numbers",
        default="{code}-{year}-{count}",
        hint="Made of {code} {year} {month} {day} {count}; {count:3} pads to three digits, {year:2} is short.",
        width="w20",
    )
    labour_rate = Number("Labour, an hour", high=10**6, empty=ZERO, width="w8")
    overhead_percent = Number("Overhead, %", high=1000, empty=ZERO)
    tax_percent = Number("Tax on the price, %", high=100, empty=ZERO)
    loss_percent = Number("Usual process loss, %", high=99, empty=ZERO)


def load_workshop(store: Store) -> Workshop:
    """Return the workshop."""
    with store.reading() as session:
        return the_workshop(session)


def change_settings(store: Store, typed: SettingsForm, row_version: int) -> None:
    """Write the settings.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when they changed since version ``row_version`` was read.
    """
    values = typed.checked().columns()
    with store.transaction() as session:
        shop = the_workshop(session)
        if shop.row_version != row_version:
            raise Conflict("The settings were changed in the meantime.")
        for column, value in values.items():
            setattr(shop, column, value)
