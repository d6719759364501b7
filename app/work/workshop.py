"""The settings of the workshop: who it is, its money, its paper, its law and how it numbers batches."""

from decimal import Decimal
from functools import cache

from babel import Locale
from babel.core import get_global
from babel.localedata import locale_identifiers
from babel.numbers import get_currency_name, get_territory_currencies

from app.science.batch_number import parse_pattern
from app.science.errors import Invalid
from app.store.engine import Store
from app.store.workshop import (
    CLEAR_AFTER,
    CLEAR_BEFORE,
    START_UP,
    CostBy,
    Jurisdiction,
    Paper,
    ScaleRow,
    Workshop,
    the_workshop,
)
from app.work.form import Choice, Form, rule
from app.work.form_fields import Grams, Listed, LongText, MaybeGrams, Name, Number, OneOf, ShortText, TickBox

ZERO, HUNDRED = Decimal(0), Decimal(100)


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


class NumberPattern(ShortText):
    """The pattern that batch numbers are made by."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the pattern, which makes numbers that differ."""
        parse_pattern(text)
        return text.strip()


class SettingsForm(Form):
    """The settings; numbers left empty are zero."""

    name = Name(
        "Name of the workshop",
        "Enter a name for the workshop; it is printed on every sheet.",
        hint="Printed on every sheet.",
        width="w20",
    )
    address = LongText("Address", longest=1000, hint="As printed on a label.")
    contact = ShortText("Contact", hint="A telephone number or an e-mail address.", width="w20")
    currency = Currency(
        "Currency",
        currencies,
        "Choose a currency of the list.",
        default="EUR",
        hint="Prices already entered keep their figures.",
    )
    locale = Listed("Money format", locales, "Choose a language of the list.", default="en")
    paper = OneOf("Paper", Paper, "Choose A4 or Letter.", default=Paper.A4.value)
    jurisdiction = OneOf("Label rules", Jurisdiction, "Choose EU or US.", default=Jurisdiction.EU.value)
    batch_number_pattern = NumberPattern(
        "Pattern of batch numbers",
        default="{code}-{year}-{count}",
        hint="Uses {code} {year} {month} {day} {count}; {count:3} pads to three digits, {year:2} is short.",
        width="w20",
    )
    labour_rate = Number("Labour per hour", high=10**6, empty=ZERO, width="w8")
    overhead_percent = Number("Overhead, %", high=1000, empty=ZERO)
    tax_percent = Number("Tax on the price, %", high=100, empty=ZERO)
    loss_percent = Number("Usual process loss, %", high=99, empty=ZERO)
    band_percent = Number(
        "Weighing tolerance, %",
        high=50,
        empty=ZERO,
        default="2",
        hint="At least one step of the scale.",
    )
    tight_percent = Number(
        "Tighter limit for preservatives, acids, actives and colours, %",
        high=50,
        empty=ZERO,
        default="1",
        hint="Where a little matters.",
    )
    yield_low_percent = Number("Usual yield, from %", high=100, empty=ZERO, default="90")
    yield_high_percent = Number("to, %", low=100, high=200, empty=HUNDRED, default="102")
    bulk_low_percent = Number(
        "Bulk of a packing run accounted for from, %", high=100, empty=ZERO, default="97", hint="Units, rest and waste."
    )
    bulk_high_percent = Number("to, %", low=100, high=200, empty=HUNDRED, default="102")
    cost_by = OneOf(
        "Price of a material taken from",
        CostBy,
        "Choose how costs are reckoned.",
        default=CostBy.LAST.value,
        shown={
            CostBy.LAST: "the last purchase",
            CostBy.AVERAGE: "the average of the lots on hand",
            CostBy.BEST: "the best offer for the amount",
        },
    )
    two_people = TickBox("Two people: whoever releases a batch weighed nothing of it")
    start_up = LongText("Checklist before a batch, a line for each item", longest=4000, default=START_UP)
    clear_before = LongText("Line clearance before packing, a line for each item", longest=4000, default=CLEAR_BEFORE)
    clear_after = LongText("Line clearance after packing, a line for each item", longest=4000, default=CLEAR_AFTER)


class BeginForm(Form):
    """What a workshop of one's own begins with; everything can be changed later."""

    name = Name("Name of the workshop", "Enter a name for the workshop; it is printed on every sheet.", width="w20")
    currency = Currency("Currency", currencies, "Choose a currency of the list.", default="EUR")
    jurisdiction = OneOf("Label rules", Jurisdiction, "Choose EU or US.", default=Jurisdiction.EU.value)
    paper = OneOf("Paper", Paper, "Choose A4 or Letter.", default=Paper.A4.value)
    scale_step = Grams(
        "Smallest step your scale shows",
        "Enter the smallest step your scale shows, such as 0.1 g.",
        default="0.1 g",
        hint="0.1 g when it shows one decimal.",
    )
    scale_load = Grams("Largest load of that scale", "Enter the largest load, such as 2 kg.", default="2 kg")
    fine_step = MaybeGrams("Smallest step of a finer scale", hint="Leave both empty if you have none.")
    fine_load = MaybeGrams("Largest load of the finer scale")

    @rule
    def loads_hold_a_step(self) -> None:
        """Refuse a largest load below the smallest step, and half a second scale."""
        if self.scale_load < self.scale_step:
            raise Invalid("scale_load", "The largest load is below the smallest step.")
        if (self.fine_step is None) != (self.fine_load is None):
            raise Invalid("fine_load" if self.fine_load is None else "fine_step", "Enter both, or leave both empty.")
        if self.fine_step is not None and self.fine_load is not None and self.fine_load < self.fine_step:
            raise Invalid("fine_load", "The largest load is below the smallest step.")


def usual_beginning(language: str | None) -> BeginForm:
    """Return the form as a person in the country of a language tag such as ``en_US`` would most likely fill it."""
    country = (language or "").partition("_")[2][:2].upper()
    tenders = get_territory_currencies(country) if country in get_global("territory_currencies") else []
    american = country == "US"
    return BeginForm(
        currency=tenders[-1] if tenders else "EUR",
        jurisdiction=(Jurisdiction.US if american else Jurisdiction.EU).value,
        paper=(Paper.LETTER if country in {"US", "CA", "MX"} else Paper.A4).value,
    )


def begin_workshop(store: Store, typed: BeginForm) -> None:
    """Put an empty workshop with its scales into a database that holds none.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    form = typed.checked()
    scales = [ScaleRow(name="Bench scale", readability_g=form.scale_step, capacity_g=form.scale_load)]
    if form.fine_step is not None:
        scales.append(ScaleRow(name="Fine scale", readability_g=form.fine_step, capacity_g=form.fine_load))
    with store.transaction() as session:
        session.add(
            Workshop(id=1, name=form.name, currency=form.currency, jurisdiction=form.jurisdiction, paper=form.paper)
        )
        session.add_all(scales)


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
        words = "The settings were changed in the meantime."
        typed.refuse_overtaken(SettingsForm.of(shop), row_version, words, now=shop.row_version)
        for column, value in values.items():
            setattr(shop, column, value)
