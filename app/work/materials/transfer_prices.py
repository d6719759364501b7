"""Prices of materials and of packaging as a file: out for a spreadsheet, and in again once every line is right."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from time import sleep

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import plain
from app.store.engine import Store
from app.store.material_queries import all_materials, every_packaging
from app.store.materials import MaterialRow, PackagingRow, PriceRow
from app.store.workshop import Workshop, the_workshop
from app.work.action import action
from app.work.clock import now
from app.work.csv_text import MOST_FAULTS, LineFault, Record, Unreadable, read_table, write_table
from app.work.form import Faults
from app.work.materials.prices import PriceContext, PriceForm
from app.work.materials.transfer import TURN_S, TransferPreview
from app.work.typed_text import one_line

COLUMNS = (
    "material", "packaging", "price", "amount", "grams", "date", "supplier", "kind", "note", "currency", "price per kg",
)  # fmt: skip
REQUIRED = ("price", "amount")
NUMBERS = ("price", "grams", "price per kg")
PIECE = 2_000


@dataclass(frozen=True, slots=True)
class IncomingPrice:
    """A price of a file with the material or packaging it belongs to; ``columns`` are those of the stored row."""

    thing: MaterialRow | PackagingRow
    columns: Mapping[str, object]

    @property
    def there(self) -> bool:
        """Whether this very price is there already, whatever its note."""
        compared = [name for name in self.columns if name != "note"]
        return any(all(getattr(price, name) == self.columns[name] for name in compared) for price in self.thing.prices)

    @property
    def words(self) -> str:
        """The price in words, for a preview."""
        columns = self.columns
        return f"{self.thing.name}: {columns['amount']:f} {columns['currency']} for {columns['quantity_text']}"


def export_prices(store: Store) -> str:
    """Return every price of every material and packaging that is not retired, newest first."""
    with store.reading() as session:
        currency = the_workshop(session).currency
        things: list[MaterialRow | PackagingRow] = [*all_materials(session), *every_packaging(session)]
        live = [one for one in things if one.retired_at is None]
        rows = (price_cells(thing, price, currency) for thing in live for price in thing.prices)
        return write_table(COLUMNS, rows, NUMBERS)


def price_cells(thing: MaterialRow | PackagingRow, price: PriceRow, currency: str) -> dict[str, str]:
    """Return a price as a row of the file; of packaging it is for pieces, without grams."""
    cells = PriceForm.of(price).cells | {"currency": price.currency or currency}
    if isinstance(thing, PackagingRow):
        return cells | {"material": "", "packaging": thing.name}
    return cells | {
        "material": thing.name, "packaging": "", "grams": plain(price.quantity_g), "price per kg": f"{price.per_kg:.4f}"
    }  # fmt: skip


def read_prices(session: Session, text: str) -> list[IncomingPrice]:
    """Return the prices of a file, each with its material or packaging.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    shop = the_workshop(session)
    names: Named = {
        "material": {inci_key(one.name): one for one in all_materials(session) if one.retired_at is None},
        "packaging": {inci_key(one.name): one for one in every_packaging(session) if one.retired_at is None},
    }
    faults: list[LineFault] = []
    found: list[IncomingPrice] = []
    for record in read_table(text, REQUIRED, COLUMNS):
        try:
            found.append(_incoming(record, names, shop))
        except Faults as wrong:
            for fault in wrong.faults:
                label = PriceForm.labels().get(fault.field)
                faults.append(LineFault(record.line, f"{label}: {fault.message}" if label else fault.message))
    if faults or not found:
        raise Unreadable(faults[:MOST_FAULTS] or [LineFault(0, "There is no price in this file.")])
    return found


Named = Mapping[str, Mapping[str, MaterialRow | PackagingRow]]
MISSING = {
    "material": "is not on the shelf; import the materials first.",
    "packaging": "is not among the packaging; add it under Workshop first.",
}


def _incoming(record: Record, names: Named, shop: Workshop) -> IncomingPrice:
    cells = record.cells
    typed_names = [(kind, cells[kind]) for kind in names if cells.get(kind, "").strip()]
    if len(typed_names) != 1:
        raise Faults([Invalid("material", "Name a material or a packaging, one of the two.")])
    ((kind, name),) = typed_names
    thing = names[kind].get(inci_key(name))
    if thing is None:
        raise Faults([Invalid(kind, f"{name[:80]} {MISSING[kind]}")])
    # Grams that the file states go before the amount in words, which may need a density.
    typed, grams = PriceForm.from_cells(cells), cells.get("grams", "").strip()
    weighed = typed.but(quantity=f"{grams} g") if grams else typed
    if isinstance(thing, PackagingRow):
        given = PriceContext(None, shop.currency, shop.locale, pieces=True)
        return IncomingPrice(thing, typed.checked(given).columns())
    columns = weighed.checked(PriceContext(thing.density_g_ml, shop.currency, shop.locale)).columns()
    words = one_line(typed.text["quantity"], "quantity")
    return IncomingPrice(thing, columns | ({"quantity_text": words} if words else {}))


def preview_prices(store: Store, text: str) -> TransferPreview:
    """Return what taking a file would do; writes nothing.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    with store.reading() as session:
        incoming = read_prices(session, text)
        new = tuple(one.words for one in incoming if not one.there)
        return TransferPreview(new, (), tuple(one.words for one in incoming if one.there))


def import_prices(store: Store, text: str, *, key: str = "") -> int:
    """Take the prices of a file and return how many were new; one that is there stays as it is.

    Every line is read before anything is written; a long file is then written in pieces, so that others can save in
    between, and can be taken again where it was broken off.

    Raises:
        Unreadable: with everything that is wrong, by line; nothing is written then.
    """
    with store.reading() as session:
        found = [None if one.there else _to_store(one) for one in read_prices(session, text)]
    # Pieces are cut from the whole file, so that a key stands for the same lines when it is taken again.
    pieces = [found[start : start + PIECE] for start in range(0, len(found), PIECE)]
    for number, piece in enumerate(pieces):
        fresh = [one for one in piece if one is not None]
        if fresh:
            _take_piece(store, fresh, key=key and f"{key} {number}")
        if number + 1 < len(pieces):
            sleep(TURN_S)
    return sum(one is not None for one in found)


def _to_store(one: IncomingPrice) -> Mapping[str, object]:
    return {("packaging_id" if isinstance(one.thing, PackagingRow) else "material_id"): one.thing.id, **one.columns}


@action(once="prices file")
def _take_piece(session: Session, piece: Sequence[Mapping[str, object]], *, key: str = "") -> None:
    session.add_all(PriceRow(**columns, noted_at=now()) for columns in piece)
