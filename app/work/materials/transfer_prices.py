"""Prices as a file: out for a spreadsheet, and in again, all or nothing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import plain
from app.store.engine import Store
from app.store.material_queries import all_materials
from app.store.materials import Material, Price
from app.store.workshop import Workshop, the_workshop
from app.work.csv_text import MOST_FAULTS, LineFault, Record, Unreadable, read_table, write_table
from app.work.materials.prices import LABELS, PriceValues, TypedPrice, as_typed, read_price, written
from app.work.materials.transfer import Preview
from app.work.once import earlier_result, remember, scoped
from app.work.typed import Faults, one_line

COLUMNS = ("material", "price", "amount", "grams", "date", "supplier", "kind", "note", "currency", "price per kg")
REQUIRED = ("material", "price", "amount")
NUMBERS = ("price", "grams", "price per kg")
FIELDS = {"price": "amount", "amount": "quantity", "date": "priced_on", "supplier": "supplier", "note": "note"}


@dataclass(frozen=True, slots=True)
class IncomingPrice:
    """A price of a file with the material it belongs to."""

    material: Material
    values: PriceValues

    @property
    def there(self) -> bool:
        """Whether the material has this very price already."""
        return any(_same(price, self.values) for price in self.material.prices)

    @property
    def words(self) -> str:
        """The price in words, for a preview."""
        return f"{self.material.name}: {plain(self.values.amount)} for {self.values.quantity_text}"


def _same(price: Price, values: PriceValues) -> bool:
    return all(getattr(price, name) == getattr(values, name) for name in PriceValues.__slots__ if name != "note")


def export_prices(store: Store) -> str:
    """Write every price of every material that is not retired, newest first."""
    with store.reading() as session:
        currency = the_workshop(session).currency
        live = [m for m in all_materials(session) if m.retired_at is None]
        rows = (_line(material, price, currency) for material in live for price in material.prices)
        return write_table(COLUMNS, rows, NUMBERS)


def _line(material: Material, price: Price, currency: str) -> dict[str, str]:
    typed = as_typed(price)
    row = {column: getattr(typed, field) for column, field in FIELDS.items()}
    per_kg = f"{price.per_kg:.4f}"
    extra = {"kind": typed.kind, "currency": currency, "grams": plain(price.quantity_g), "price per kg": per_kg}
    return row | extra | {"material": material.name}


def _read(session: Session, text: str) -> list[IncomingPrice]:
    shop = the_workshop(session)
    by_name = {inci_key(m.name): m for m in all_materials(session) if m.retired_at is None}
    faults: list[LineFault] = []
    found: list[IncomingPrice] = []
    for record in read_table(text, REQUIRED, COLUMNS):
        try:
            found.append(_incoming(record, by_name, shop))
        except Faults as wrong:
            faults += [LineFault(record.line, _told(fault)) for fault in wrong.faults]
    if faults or not found:
        raise Unreadable(faults[:MOST_FAULTS] or [LineFault(0, "There is no price in this file.")])
    return found


def _told(fault: Invalid) -> str:
    return f"{LABELS[fault.field]}: {fault.message}" if fault.field in LABELS else fault.message


def _incoming(record: Record, by_name: dict[str, Material], shop: Workshop) -> IncomingPrice:
    cells = record.cells
    material = by_name.get(inci_key(cells["material"]))
    if material is None:
        raise Faults(
            [Invalid("material", f"{cells['material'][:80]} is not on the shelf; import the materials first.")]
        )
    if cells.get("currency", "").strip() not in ("", shop.currency):
        raise Faults(
            [Invalid("currency", f"this price is in {cells['currency'][:10]}, the workshop uses {shop.currency}.")]
        )
    return IncomingPrice(material, _values(cells, material, shop))


def _values(cells: Mapping[str, str], material: Material, shop: Workshop) -> PriceValues:
    """Read a price; grams that the file states go before the amount in words, which may need a density."""
    texts = {field: cells.get(column, "") for column, field in FIELDS.items()}
    typed = TypedPrice(**texts, kind=cells.get("kind", "").strip() or "paid")
    grams = cells.get("grams", "").strip()
    weighed = replace(typed, quantity=f"{grams} g") if grams else typed
    values = read_price(weighed, material.density_g_ml, shop.currency, shop.locale)
    return replace(values, quantity_text=one_line(typed.quantity, "quantity") or values.quantity_text)


def preview_prices(store: Store, text: str) -> Preview:
    """Tell what taking a file would do; writes nothing.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    with store.reading() as session:
        incoming = _read(session, text)
        new = tuple(one.words for one in incoming if not one.there)
        return Preview(new, (), tuple(one.words for one in incoming if one.there))


def import_prices(store: Store, text: str, *, key: str = "") -> int:
    """Take the prices of a file, all or nothing, and give how many were new; one that is there stays as it is.

    Raises:
        Unreadable: with everything that is wrong, by line; nothing is written then.
    """
    key = scoped("prices file", key)
    with store.transaction() as session:
        earlier = earlier_result(session, key)
        if earlier is not None:
            return int(earlier)
        fresh = [one for one in _read(session, text) if not one.there]
        for one in fresh:
            one.material.prices.append(written(Price(), one.values))
        remember(session, key, str(len(fresh)))
        return len(fresh)
