"""Prices of a material: what was paid or offered for which amount; the price of a kilogram follows."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from babel.numbers import format_currency, get_currency_precision, get_currency_symbol
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.material_queries import get_material
from app.store.materials import Material, Price, PriceKind
from app.store.workshop import the_workshop
from app.work.clock import today
from app.work.once import earlier_result, remember, scoped
from app.work.typed import Reader, fingerprint, one_line

DEAREST = Decimal(10) ** 9
OLDEST = date(1900, 1, 1)

LABELS = {
    "amount": "Price",
    "quantity": "For how much",
    "priced_on": "When",
    "supplier": "From whom",
    "kind": "Paid or offered",
    "note": "Note",
}


@dataclass(frozen=True, slots=True)
class TypedPrice:
    """A price as typed: so much money for so much of a material."""

    amount: str = ""
    quantity: str = ""
    priced_on: str = ""
    supplier: str = ""
    kind: str = PriceKind.PAID.value
    note: str = ""


@dataclass(frozen=True, slots=True)
class PriceValues:
    """A price with every field read; ``quantity_g`` is in grams, ``amount`` in the workshop's currency."""

    kind: PriceKind
    amount: Decimal
    quantity_text: str
    quantity_g: Decimal
    priced_on: date
    supplier: str
    note: str


def as_typed(price: Price) -> TypedPrice:
    """Give a stored price as it would be typed."""
    return TypedPrice(
        amount=plain(price.amount),
        quantity=price.quantity_text,
        priced_on=price.priced_on.isoformat(),
        supplier=price.supplier,
        kind=price.kind.value,
        note=price.note,
    )


def read_price(typed: TypedPrice, density_g_ml: Decimal | None, currency: str, locale: str = "en") -> PriceValues:
    """Read every field of a price; an empty date is today, a volume needs the density in g/mL.

    Raises:
        Faults: with everything that is wrong, each at the name of its field.
    """
    reader = Reader()
    amount = reader.take(_money, typed.amount, currency, locale)
    grams = reader.take(_grams, typed.quantity, density_g_ml)
    kind = reader.take(_kind, typed.kind)
    day = reader.take(_day, typed.priced_on)
    quantity_text = reader.take(one_line, typed.quantity, "quantity")
    supplier = reader.take(one_line, typed.supplier, "supplier")
    note = reader.take(one_line, typed.note, "note", longest=500)
    reader.finish()
    return PriceValues(
        kind=kind or PriceKind.PAID,
        amount=amount or Decimal(0),
        quantity_text=quantity_text or "",
        quantity_g=grams or Decimal(1),
        priced_on=day or today(),
        supplier=supplier or "",
        note=note or "",
    )


def _money(text: str, currency: str, locale: str) -> Decimal:
    bare = text.strip()
    for sign in (currency, get_currency_symbol(currency, locale=locale)):
        bare = bare.removeprefix(sign).removesuffix(sign).strip()
    if not bare:
        raise Invalid("amount", f"Give what was paid, such as {_shown_example(currency, locale)}.")
    amount = parse_number(bare, "amount", low=Decimal(0), high=DEAREST)
    most = get_currency_precision(currency)
    if -int(amount.normalize().as_tuple().exponent) > most + 4:
        raise Invalid("amount", f"Write the amount with at most {most + 4} decimals.")
    return amount


def _shown_example(currency: str, locale: str) -> str:
    return str(format_currency(Decimal("12.40"), currency, locale=locale))


def _grams(text: str, density_g_ml: Decimal | None) -> Decimal:
    grams = to_grams(parse_quantity(text, "quantity"), density_g_ml, "quantity")
    if grams <= 0:
        raise Invalid("quantity", "Give an amount above 0.")
    return grams


def _kind(text: str) -> PriceKind:
    try:
        return PriceKind(text)
    except ValueError as error:
        raise Invalid("kind", "Choose paid or offered.") from error


def _day(text: str) -> date:
    if not text.strip():
        return today()
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise Invalid("priced_on", f"Write the date as year-month-day, such as {today().isoformat()}.") from error
    if day < OLDEST:
        raise Invalid("priced_on", "Write a date after 1900.")
    return day


def add_price(store: Store, material_id: int, typed: TypedPrice, key: str = "") -> None:
    """Note a price of a material; the same form taken twice notes it once.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material.
    """
    key = scoped("price", key)
    with store.transaction() as session:
        if earlier_result(session, key) is not None:
            return
        material = get_material(session, material_id)
        values = _read_for(session, material, typed)
        material.prices.append(written(Price(), values))
        remember(session, key, str(material_id))


def _read_for(session: Session, material: Material, typed: TypedPrice) -> PriceValues:
    shop = the_workshop(session)
    return read_price(typed, material.density_g_ml, shop.currency, shop.locale)


def written(price: Price, values: PriceValues) -> Price:
    """Write the values into a stored price and give it back."""
    for name in PriceValues.__slots__:
        setattr(price, name, getattr(values, name))
    return price


def revise_price(store: Store, material_id: int, price_id: int, typed: TypedPrice, seen: str) -> None:
    """Write what was changed in a price; ``seen`` is the fingerprint of the price as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the price changed since it was read.
        NotFound: when the material has no such price.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        price = price_of(material, price_id)
        values = _read_for(session, material, typed)
        if fingerprint(as_typed(price)) != seen:
            raise Conflict("This price was changed in the meantime.")
        written(price, values)


def price_of(material: Material, price_id: int) -> Price:
    """Find one price of a material.

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
