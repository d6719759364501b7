"""The form of a product, and of an exchange rate."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_precision

from app.science.barcode_number import read_barcode_number
from app.science.errors import Invalid
from app.science.numbers import parse_number, plain, plain_or_empty, to_places
from app.science.quantities import Quantity, parse_quantity
from app.store.products import Product, ProductPackaging
from app.store.workshop import Jurisdiction
from app.work.form import Choice, Field, Form, Rows, rule
from app.work.form_fields import CurrencyCode, LongText, MaybeNumber, Name, Number, OneOf, ShortText

MOST_MONTHS = 240
MOST_PACKAGING = 12
# The countries' own names of the units a label may state its content in are left to the label.
DEAREST = Decimal(10) ** 9


class Content(Field[Quantity | None]):
    """The net content of a unit, such as 50 ml or 60 g; empty while not decided."""

    def read(self, text: str, at: str, form: Form) -> Quantity | None:
        """Return the quantity."""
        if not text.strip():
            return None
        quantity = parse_quantity(text, at)
        if not quantity.amount:
            raise Invalid(at, "Enter more than 0, such as 50 ml.")
        return quantity

    def write(self, value: Quantity | None) -> str:
        """Return the quantity as it would be typed."""
        return "" if value is None else f"{plain(value.amount)} {value.unit.symbol}"

    def stored(self, row: Product) -> str:
        """Return the content of a stored product."""
        return "" if row.fill_amount is None else f"{plain(row.fill_amount)} {row.fill_unit}"

    def columns(self, value: Quantity | None) -> dict[str, object]:
        """Return the amount and the unit."""
        return {
            "fill_amount": None if value is None else value.amount,
            "fill_unit": "" if value is None else value.unit.symbol,
        }


class UnitPrice(Field[Decimal | None]):
    """A price in the currency of the form; empty while it is not set."""

    control = "decimal"
    numeric = True

    def read(self, text: str, at: str, form: Any) -> Decimal | None:
        """Return the amount."""
        bare = "".join(sign for sign in text if sign.isdigit() or sign in ".,'- ").strip()
        if not text.strip():
            return None
        amount = parse_number(bare or text, at, low=Decimal(0), high=DEAREST)
        digits = get_currency_precision(form.currency)
        if -int(amount.normalize().as_tuple().exponent) > digits:
            raise Invalid(at, f"A price in {form.currency} has {digits} decimals at most.")
        return amount

    def stored(self, row: Product) -> str:
        """Return the price of a stored product with the decimals of its currency."""
        return "" if row.price is None else f"{to_places(row.price, get_currency_precision(row.currency)):f}"

    def write(self, value: Decimal | None) -> str:
        """Return the amount without a sign."""
        return plain_or_empty(value)


class Months(Field[int | None]):
    """Whole months, or empty."""

    control = "decimal"
    numeric = True

    def read(self, text: str, at: str, form: Form) -> int | None:
        """Return the months."""
        if not text.strip():
            return None
        bare = text.strip().removesuffix("M").removesuffix("months").strip()
        months = parse_number(bare, at, low=Decimal(1), high=Decimal(MOST_MONTHS))
        if months != int(months):
            raise Invalid(at, "Enter whole months, such as 12.")
        return int(months)


class MaybeUnits(Field[int | None]):
    """Whole units, or empty."""

    control = "decimal"
    numeric = True

    def read(self, text: str, at: str, form: Form) -> int | None:
        """Return the units."""
        if not text.strip():
            return None
        units = parse_number(text, at, low=Decimal(0), high=Decimal(10_000_000))
        if units != int(units):
            raise Invalid(at, "Units come whole.")
        return int(units)


class Languages(Field[str]):
    """The languages of a label by their tags, parted by commas."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the tags, each once."""
        tags = list(dict.fromkeys(tag.strip() for tag in text.replace(";", ",").split(",") if tag.strip()))
        for tag in tags:
            try:
                Locale.parse(tag, sep="-")
            except (ValueError, UnknownLocaleError, TypeError) as error:
                raise Invalid(at, f"{tag[:20]} is no language; enter tags such as en, de or pt-BR.") from error
        return ", ".join(tags)


class BarcodeNumber(Field[str]):
    """The number under a bar code."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return its digits."""
        return read_barcode_number(text, at)


class PackagingChoice(Field[int]):
    """A piece of packaging by its row; the page offers those of the workshop."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return the id."""
        if not (text.isascii() and text.isdigit() and len(text) < 10):
            raise Invalid(at, "Choose a piece of packaging.")
        return int(text)


class PackForm(Form):
    """A piece of packaging of a product."""

    packaging = PackagingChoice("Packaging", column="packaging_id")
    per_unit = Number("Pieces per unit", low=Decimal("0.001"), high=10_000, empty=Decimal(1), default="1")

    filled_by = ("packaging",)

    @classmethod
    def of(cls, row: ProductPackaging) -> "PackForm":
        """Return a stored piece as it would be typed."""
        return cls(packaging=str(row.packaging_id), per_unit=plain(row.per_unit))


class ProductForm(Form):
    """A product; everything but its name can be decided later."""

    name = Name("Product name", "Enter a name for the product, such as Oat and shea hand cream 60 g.", width="w20")
    jurisdiction = OneOf("Market", Jurisdiction, "Choose EU or US.", default=Jurisdiction.EU.value)
    languages = Languages("Languages of the label", default="en", hint="Tags such as en, de, fr-CA.", width="w8")
    fill = Content("Net content per unit", hint="Such as 50 ml, 60 g or 2 fl oz.", width="w8")
    price = UnitPrice("Price per unit with tax", width="w8")
    currency = CurrencyCode("Currency", hint="Leave empty for the workshop's.", width="w4")
    tax_percent = Number("Tax, %", high=100, empty=Decimal(0), width="w4")
    minimum = Number("Minimum order for shops", low=1, high=100_000, empty=Decimal(1), default="1", width="w4")
    reorder = MaybeUnits("Units to keep on hand", width="w4", hint="Leave empty for none.")
    open_months = Months("Period after opening, months", width="w4")
    shelf_months = Months("Shelf life, months from making", width="w4")
    responsible_person = LongText(
        "Responsible person, with address", hint="Leave empty for the workshop itself.", lines=3
    )
    origin = ShortText("Country of origin", hint="For goods from outside the EU, and in the US where asked for.")
    barcode = BarcodeNumber("Bar code number", hint="8, 12, 13 or 14 digits.", width="w12")
    front_words = LongText("Front label text", lines=3)
    claims = LongText("Claims elsewhere on the label", lines=2)
    notes = LongText("Notes", lines=2)
    packaging = Rows(
        "Packaging of a unit", PackForm, "pack", most=MOST_PACKAGING, too_many="At most {most} pieces of packaging."
    )

    @rule
    def minimum_is_whole(self) -> None:
        """Refuse half a unit."""
        if self.minimum != int(self.minimum):
            raise Invalid("minimum", "Units come whole.")

    def columns(self) -> dict[str, object]:
        """Return the columns of the row; the packaging is written by who stores it."""
        return super().columns() | {"minimum": int(self.minimum)}


class RateForm(Form):
    """An exchange rate, typed by hand."""

    currency = CurrencyCode("Currency", width="w4")
    rate = MaybeNumber("Worth in the workshop's currency", low=Decimal("0.000001"), high=10**7, width="w8")

    @rule
    def rate_is_given(self) -> None:
        """Refuse an empty rate."""
        if self.rate is None:
            raise Invalid("rate", "Enter what one unit of this currency is worth, such as 0.92.")


def packaging_choices(pieces: Sequence[Any]) -> list[Choice]:
    """Return the pieces of packaging as choices."""
    return [Choice(str(piece.id), piece.name) for piece in pieces]
