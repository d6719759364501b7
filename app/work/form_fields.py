"""The kinds of field that forms are made of: texts, numbers, amounts, dates, money, choices."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any, Generic, TypeVar

from babel.numbers import format_currency, get_currency_precision, get_currency_symbol, list_currencies

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain, plain_or_empty
from app.science.quantities import parse_grams
from app.work.clock import today
from app.work.form import Choice, Field, Form
from app.work.typed_text import LONGEST_NAME, LONGEST_TEXT, clean_text, one_line

W = TypeVar("W", bound=StrEnum)
DEAREST = Decimal(10) ** 9
OLDEST = date(1900, 1, 1)


class ShortText(Field[str]):
    """A text of one line."""

    def __init__(self, label: str, *, longest: int = LONGEST_NAME, **more: Any) -> None:
        super().__init__(label, **more)
        self.longest = longest

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the text with single blanks."""
        return one_line(text, at, longest=self.longest)


class Name(ShortText):
    """A text of one line that must be given; ``asked`` is the sentence that asks for it."""

    def __init__(self, label: str, asked: str, **more: Any) -> None:
        super().__init__(label, **more)
        self.asked = asked

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the text with single blanks, never empty."""
        found = super().read(text, at, form)
        if not found:
            raise Invalid(at, self.asked)
        return found


class LongText(Field[str]):
    """A text of several lines; ``asked`` is the sentence that asks for it where it must be given."""

    control = "area"

    def __init__(
        self, label: str, asked: str = "", *, longest: int = LONGEST_TEXT, lines: int = 3, **more: Any
    ) -> None:
        super().__init__(label, **more)
        self.asked, self.longest, self.lines = asked, longest, lines

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the text without blanks around it."""
        found = clean_text(text, at, longest=self.longest)
        if self.asked and not found:
            raise Invalid(at, self.asked)
        return found


class Number(Field[Decimal]):
    """A number between limits; ``empty`` is what an empty field means, else a number must be given."""

    control = "decimal"
    numeric = True

    def __init__(
        self, label: str, *, low: Decimal | int = 0, high: Decimal | int, empty: Decimal | None = None, **more: Any
    ) -> None:
        super().__init__(label, **{"width": "w6", **more})
        self.low, self.high, self.empty = Decimal(low), Decimal(high), empty

    def read(self, text: str, at: str, form: Form) -> Decimal:
        """Return the number."""
        if self.empty is not None and not text.strip():
            return self.empty
        return parse_number(text, at, low=self.low, high=self.high)

    def write(self, value: Decimal) -> str:
        """Return the number without exponent and trailing zeros."""
        return plain(value)


class MaybeNumber(Field[Decimal | None]):
    """A number between limits that may be left empty."""

    control = "decimal"
    numeric = True

    def __init__(self, label: str, *, low: Decimal | int = 0, high: Decimal | int, **more: Any) -> None:
        super().__init__(label, **{"width": "w6", **more})
        self.low, self.high = Decimal(low), Decimal(high)

    def read(self, text: str, at: str, form: Form) -> Decimal | None:
        """Return the number; None for an empty field."""
        return parse_number(text, at, low=self.low, high=self.high) if text.strip() else None

    def write(self, value: Decimal | None) -> str:
        """Return the number without exponent and trailing zeros."""
        return plain_or_empty(value)


def density_of(form: Form) -> Decimal | None:
    """Return the density in g/mL that a form was given to read volumes with; None when there is none."""
    return getattr(form.given, "density_g_ml", None)


class Grams(Field[Decimal]):
    """A weight with any unit, grams where none is written; a volume needs the density that the form was given.

    ``asked`` is the sentence for an empty field. Zero is refused unless ``low`` allows it.
    """

    control = "decimal"

    def __init__(
        self, label: str, asked: str, *, low: Decimal | None = None, high: Decimal | None = None, **more: Any
    ) -> None:
        super().__init__(label, **{"width": "w8", **more})
        self.asked, self.low, self.high = asked, low, high

    def read(self, text: str, at: str, form: Form) -> Decimal:
        """Return the weight in grams."""
        if not text.strip():
            raise Invalid(at, self.asked)
        return parse_grams(text, at, density_of(form), low=self.low, high=self.high)

    def write(self, value: Decimal) -> str:
        """Return the weight with its unit."""
        return f"{plain(value)} g"


class MaybeGrams(Field[Decimal | None]):
    """A weight as for `Grams` that may be left empty."""

    control = "decimal"

    def __init__(self, label: str, *, low: Decimal | None = None, high: Decimal | None = None, **more: Any) -> None:
        super().__init__(label, **{"width": "w8", **more})
        self.low, self.high = low, high

    def read(self, text: str, at: str, form: Form) -> Decimal | None:
        """Return the weight in grams; None for an empty field."""
        return parse_grams(text, at, density_of(form), low=self.low, high=self.high) if text.strip() else None

    def write(self, value: Decimal | None) -> str:
        """Return the weight with its unit."""
        return "" if value is None else f"{plain(value)} g"


class OneOf(Field[W], Generic[W]):
    """One word of a closed list; an empty field is its default."""

    control = "choice"

    def __init__(
        self, label: str, kind: type[W], asked: str, *, shown: dict[W, str] | None = None, **more: Any
    ) -> None:
        super().__init__(label, **more)
        self.kind, self.asked, self.shown = kind, asked, shown or {}

    def read(self, text: str, at: str, form: Form) -> W:
        """Return the word."""
        try:
            return self.kind(text.strip() or self.default)
        except ValueError as error:
            raise Invalid(at, self.asked) from error

    def sent(self, posted: Mapping[str, str], prefix: str) -> str:
        """Return the word that was chosen; a page that does not offer the choice leaves its default."""
        return posted.get(prefix + self.name, "") or self.default

    def choices(self) -> Sequence[Choice]:
        """Return the words of the list."""
        return [Choice(word.value, self.shown.get(word, word.value)) for word in self.kind]


class Listed(Field[str]):
    """One value of a list that is long or made when it is asked for."""

    control = "choice"

    def __init__(self, label: str, listed: Callable[[], Sequence[Choice]], asked: str, **more: Any) -> None:
        super().__init__(label, **more)
        self.listed, self.asked = listed, asked

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the value."""
        found = text.strip()
        if found not in {choice.value for choice in self.listed()}:
            raise Invalid(at, self.asked)
        return found

    def choices(self) -> Sequence[Choice]:
        """Return the list."""
        return self.listed()


def row_number(text: str) -> int | None:
    """Return the number of a record as a form sends it; None for anything else."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None


class RowId(Field[int | None]):
    """The number of a record that was chosen; None for anything else, and who reads the form says what is missing."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> int | None:
        """Return the number."""
        return row_number(str(text))


def is_yes(text: str) -> bool:
    """Return whether a box is ticked, as a page or a file says it."""
    return text.strip().casefold() in {"yes", "y", "1", "true", "x", "on"}


class TickBox(Field[bool]):
    """A box that is ticked or not."""

    control = "tick"

    def read(self, text: str, at: str, form: Form) -> bool:
        """Return whether it is ticked."""
        return is_yes(text)

    def write(self, value: bool) -> str:
        """Return ``yes`` or nothing."""
        return "yes" if value else ""


def read_day(text: str, at: str) -> date:
    """Return a date written as year-month-day.

    Raises:
        Invalid: at ``at``, when it is no date after 1900.
    """
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise Invalid(at, f"Enter the date as year-month-day, such as {today().isoformat()}.") from error
    if day < OLDEST:
        raise Invalid(at, "Enter a date after 1900.")
    return day


class Day(Field[date]):
    """A date that must be given."""

    control = "date"

    def read(self, text: str, at: str, form: Form) -> date:
        """Return the date."""
        return read_day(text, at)


class DayOrToday(Field[date]):
    """A date; an empty field is today."""

    control = "date"

    def read(self, text: str, at: str, form: Form) -> date:
        """Return the date."""
        return read_day(text, at) if text.strip() else today()


class MaybeDay(Field[date | None]):
    """A date that may be left empty."""

    control = "date"

    def read(self, text: str, at: str, form: Form) -> date | None:
        """Return the date; None for an empty field."""
        return read_day(text, at) if text.strip() else None


def read_money(text: str, at: str, currency: str, locale: str) -> Decimal:
    """Return an amount of money, written with or without the sign of its currency.

    Raises:
        Invalid: at ``at``, when it is no amount, or finer than four decimals beyond what the currency has.
    """
    bare = text.strip()
    for sign in (currency, get_currency_symbol(currency, locale=locale)):
        bare = bare.removeprefix(sign).removesuffix(sign).strip()
    if not bare:
        raise Invalid(at, f"Enter the amount, such as {format_currency(Decimal('12.40'), currency, locale=locale)}.")
    amount = parse_number(bare, at, low=Decimal(0), high=DEAREST)
    most = get_currency_precision(currency) + 4
    if -int(amount.normalize().as_tuple().exponent) > most:
        raise Invalid(at, f"Enter the amount with at most {most} decimals.")
    return amount


class Money(Field[Decimal]):
    """An amount of money in the currency that the form was given."""

    control = "decimal"
    numeric = True

    def read(self, text: str, at: str, form: Form) -> Decimal:
        """Return the amount."""
        return read_money(text, at, form.given.currency, form.given.locale)

    def write(self, value: Decimal) -> str:
        """Return the amount without a sign."""
        return plain(value)


class MaybeMoney(Field[Decimal | None]):
    """An amount of money that may be left empty; in the currency that the form was given."""

    control = "decimal"
    numeric = True

    def read(self, text: str, at: str, form: Form) -> Decimal | None:
        """Return the amount; None for an empty field."""
        return read_money(text, at, form.given.currency, form.given.locale) if text.strip() else None

    def write(self, value: Decimal | None) -> str:
        """Return the amount without a sign."""
        return plain_or_empty(value)


class CurrencyCode(Field[str]):
    """A currency by its three letters; empty is that of the workshop."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the letters in upper case."""
        found = text.strip().upper() or (form.given.currency if form.given else "")
        if found not in list_currencies():
            raise Invalid(at, "Enter the three letters of a currency, such as EUR, USD or GBP.")
        return str(found)
