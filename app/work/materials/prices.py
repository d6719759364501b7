"""Prices of a material: what was paid or offered for which amount; the price of a kilogram follows."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.quantities import parse_quantity, to_grams
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.material_queries import get_material
from app.store.materials import Material, Price, PriceKind
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.field_reading import one_line
from app.work.form import Field, Form
from app.work.form_fields import DayOrToday, Line, Money, OneOf, density_of


@dataclass(frozen=True, slots=True)
class PriceContext:
    """What a price needs besides its text: the density in g/mL for volumes, and the workshop's money."""

    density_g_ml: Decimal | None
    currency: str
    locale: str = "en"


@dataclass(frozen=True, slots=True)
class PricedAmount:
    """An amount in the words it was bought in, and in grams."""

    text: str
    grams: Decimal


class AmountBought(Field[PricedAmount]):
    """How much of a material a price is for; the words are kept beside the grams."""

    def read(self, text: str, at: str, form: Form) -> PricedAmount:
        """Return the amount; a volume needs the density."""
        grams = to_grams(parse_quantity(text, at), density_of(form), at)
        if grams <= 0:
            raise Invalid(at, "Give an amount above 0.")
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
    supplier = Line("Supplier", csv="supplier")
    kind = OneOf(
        "Paid or offered",
        PriceKind,
        "Choose paid or offered.",
        csv="kind",
        default=PriceKind.PAID.value,
        shown={PriceKind.OFFERED: "offered (a price break)"},
    )
    note = Line("Note", csv="note", longest=500, width="w20")


def price_context(session: Session, material: Material) -> PriceContext:
    """Return what the prices of a material are read with."""
    shop = the_workshop(session)
    return PriceContext(material.density_g_ml, shop.currency, shop.locale)


@action(once="price")
def add_price(session: Session, material_id: int, typed: PriceForm, key: str = "") -> None:
    """Add a price of a material; the same form taken twice adds it once.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material.
    """
    material = get_material(session, material_id)
    material.prices.append(Price(**typed.checked(price_context(session, material)).columns()))


def revise_price(store: Store, material_id: int, price_id: int, typed: PriceForm, seen: str) -> None:
    """Write what was changed in a price; ``seen`` is the fingerprint of the price as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the price changed since it was read.
        NotFound: when the material has no such price.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        price = price_of(material, price_id)
        form = typed.checked(price_context(session, material))
        if PriceForm.of(price).fingerprint != seen:
            raise Conflict("This price was changed in the meantime.")
        for column, value in form.columns().items():
            setattr(price, column, value)


def price_of(material: Material, price_id: int) -> Price:
    """Return one price of a material.

    Raises:
        NotFound: when the material has no such price.
    """
    found = next((price for price in material.prices if price.id == price_id), None)
    if found is None:
        raise NotFound("There is no such price.")
    return found


def remove_price(store: Store, material_id: int, price_id: int) -> None:
    """Remove a price that was noted by mistake.

    Raises:
        NotFound: when the material has no such price.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        material.prices.remove(price_of(material, price_id))
