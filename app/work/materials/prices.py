"""Prices of a material or of packaging: what was paid or offered for which amount, in which currency."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.material_queries import get_material
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.clock import now
from app.work.form import Field, Form
from app.work.form_fields import CurrencyCode, DayOrToday, Money, OneOf, ShortText, density_of
from app.work.typed_text import one_line

MOST_PIECES = Decimal(10) ** 8


@dataclass(frozen=True, slots=True)
class PriceContext:
    """What a price needs besides its text: the density in g/mL for volumes, the money, whether pieces are counted."""

    density_g_ml: Decimal | None
    currency: str
    locale: str = "en"
    pieces: bool = False


@dataclass(frozen=True, slots=True)
class PricedAmount:
    """An amount in the words it was bought in, and in grams or pieces."""

    text: str
    grams: Decimal


class AmountBought(Field[PricedAmount]):
    """How much a price is for, a weight, a volume or pieces; the words are kept beside the number."""

    def read(self, text: str, at: str, form: Form) -> PricedAmount:
        """Return the amount; a volume needs the density."""
        if form.given.pieces:
            bare = text.strip().removesuffix("pieces").removesuffix("pcs").strip()
            count = parse_number(bare, at, low=Decimal("0.001"), high=MOST_PIECES)
            return PricedAmount(f"{plain(count)} pieces", count)
        grams = to_grams(parse_quantity(text, at), density_of(form), at)
        if grams <= 0:
            raise Invalid(at, "Enter an amount above 0.")
        return PricedAmount(one_line(text, at), grams)

    def write(self, value: PricedAmount) -> str:
        """Return the amount in its words."""
        return value.text

    def stored(self, row: Any) -> str:
        """Return the stored amount in its words."""
        return str(row.quantity_text)

    def columns(self, value: PricedAmount) -> dict[str, object]:
        """Return the words and the grams."""
        return {"quantity_text": value.text, "quantity_g": value.grams}


class PriceForm(Form):
    """A price as typed: so much money for so much of a material; an empty date is today."""

    amount = Money("Price", csv="price", width="w8")
    quantity = AmountBought("For how much", csv="amount")
    priced_on = DayOrToday("When", csv="date", hint="Leave empty for today.")
    supplier = ShortText("Supplier", csv="supplier")
    kind = OneOf(
        "Paid or offered",
        PriceKind,
        "Choose paid or offered.",
        csv="kind",
        default=PriceKind.PAID.value,
        shown={PriceKind.OFFERED: "offered (a price break)"},
    )
    note = ShortText("Note", csv="note", longest=500, width="w20")
    currency = CurrencyCode("Currency", csv="currency", hint="Leave empty for the workshop's.", width="w4")


def price_context(session: Session, thing: MaterialRow | PackagingRow) -> PriceContext:
    """Return what the prices of a material or of packaging are read with."""
    shop = the_workshop(session)
    density = thing.density_g_ml if isinstance(thing, MaterialRow) else None
    return PriceContext(density, shop.currency, shop.locale, isinstance(thing, PackagingRow))


def priced_thing(session: Session, thing_id: int, *, packaging: bool = False) -> MaterialRow | PackagingRow:
    """Return the material or the packaging whose prices are meant.

    Raises:
        NotFound: when there is none.
    """
    if not packaging:
        return get_material(session, thing_id)
    found = session.get(PackagingRow, thing_id)
    if found is None:
        raise NotFound("There is no such packaging.")
    return found


@action(once="price")
def add_price(session: Session, thing_id: int, typed: PriceForm, key: str = "", *, packaging: bool = False) -> None:
    """Add a price of a material or of packaging; the same form taken twice adds it once.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material or packaging.
    """
    thing = priced_thing(session, thing_id, packaging=packaging)
    thing.prices.append(PriceRow(**typed.checked(price_context(session, thing)).columns(), noted_at=now()))


def revise_price(
    store: Store, thing_id: int, price_id: int, typed: PriceForm, seen: str, *, packaging: bool = False
) -> None:
    """Write what was changed in a price; ``seen`` is the fingerprint of the price as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the price changed since it was read.
        NotFound: when the material or packaging has no such price.
    """
    with store.transaction() as session:
        thing = priced_thing(session, thing_id, packaging=packaging)
        price = price_of(thing, price_id)
        given = price_context(session, thing)
        typed.refuse_overtaken(PriceForm.of(price), seen, "This price was changed in the meantime.", given=given)
        for column, value in typed.checked(given).columns().items():
            setattr(price, column, value)


def price_of(thing: MaterialRow | PackagingRow, price_id: int) -> PriceRow:
    """Return one price of a material or of packaging.

    Raises:
        NotFound: when it has no such price.
    """
    found = next((price for price in thing.prices if price.id == price_id), None)
    if found is None:
        raise NotFound("There is no such price.")
    return found


def remove_price(store: Store, thing_id: int, price_id: int, *, packaging: bool = False) -> None:
    """Remove a price that was noted by mistake.

    Raises:
        NotFound: when the material or packaging has no such price.
    """
    with store.transaction() as session:
        thing = priced_thing(session, thing_id, packaging=packaging)
        thing.prices.remove(price_of(thing, price_id))
