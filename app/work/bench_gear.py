"""What stands in the workshop besides materials: its scales and its packaging."""

from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from sqlalchemy import select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.material_queries import every_packaging
from app.store.materials import Packaging
from app.store.workshop import Scale, scales
from app.work.clock import now
from app.work.materials.typed_material import number
from app.work.once import earlier_result, remember, scoped
from app.work.typed import Faults, Reader, fingerprint, name, one_line, words

DEAREST = Decimal(10) ** 9
LEAST_UNITS, MOST_UNITS = Decimal("0.001"), Decimal(10) ** 6
Row = TypeVar("Row", Scale, Packaging)

SCALE_LABELS = {"name": "Name", "readability": "Smallest step", "capacity": "Largest load"}
PACKAGING_LABELS = {
    "name": "Name",
    "units_per_pack": "Units in a pack",
    "price": "Price of a pack",
    "supplier": "From whom",
    "notes": "Notes",
}


@dataclass(frozen=True, slots=True)
class TypedScale:
    """A scale as typed; amounts without a unit are grams."""

    name: str = ""
    readability: str = ""
    capacity: str = ""


@dataclass(frozen=True, slots=True)
class TypedPackaging:
    """A piece of packaging as typed."""

    name: str = ""
    units_per_pack: str = "1"
    price: str = ""
    supplier: str = ""
    notes: str = ""


def scale_as_typed(scale: Scale) -> TypedScale:
    """Give a stored scale as it would be typed."""
    return TypedScale(scale.name, f"{plain(scale.readability_g)} g", f"{plain(scale.capacity_g)} g")


def packaging_as_typed(piece: Packaging) -> TypedPackaging:
    """Give stored packaging as it would be typed."""
    return TypedPackaging(piece.name, plain(piece.units_per_pack), number(piece.price), piece.supplier, piece.notes)


def list_scales(store: Store) -> list[Scale]:
    """List the scales, finest first."""
    with store.reading() as session:
        return scales(session)


def list_packaging(store: Store) -> list[Packaging]:
    """List the packaging, what is in use first, then by name."""
    with store.reading() as session:
        return every_packaging(session)


def read_scale(typed: TypedScale) -> dict[str, object]:
    """Read a scale: its name, its smallest step and its largest load in grams.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    reader = Reader()
    title = reader.take(name, typed.name, "name", "Give the scale a name, such as Bench scale.")
    step = reader.take(_grams, typed.readability, "readability", "Give the smallest step it shows, such as 0.1 g.")
    load = reader.take(_grams, typed.capacity, "capacity", "Give the largest load, such as 2 kg.")
    if step is not None and load is not None and load < step:
        reader.fail("capacity", f"The largest load is below the smallest step, {plain(step)} g.")
    reader.finish()
    return {"name": title, "readability_g": step, "capacity_g": load}


def _grams(text: str, field: str, asked: str) -> Decimal:
    if not text.strip():
        raise Invalid(field, asked)
    grams = to_grams(parse_quantity(text, field, default_unit="g"), None, field)
    if grams <= 0:
        raise Invalid(field, "Give an amount above 0.")
    return grams


def read_packaging(typed: TypedPackaging) -> dict[str, object]:
    """Read a piece of packaging; a price left empty is not known.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    reader = Reader()
    values: dict[str, object] = {
        "name": reader.take(name, typed.name, "name", "Give the packaging a name, such as Jar 60 ml with lid."),
        "units_per_pack": reader.take(
            parse_number, typed.units_per_pack, "units_per_pack", low=LEAST_UNITS, high=MOST_UNITS
        ),
        "price": reader.take(_price, typed.price),
        "supplier": reader.take(one_line, typed.supplier, "supplier"),
        "notes": reader.take(words, typed.notes, "notes"),
    }
    reader.finish()
    return values


def _price(text: str) -> Decimal | None:
    return parse_number(text, "price", low=Decimal(0), high=DEAREST) if text.strip() else None


def _add(store: Store, row: Row, values: dict[str, object], key: str) -> None:
    key = scoped(type(row).__tablename__, key)
    with store.transaction() as session:
        if earlier_result(session, key) is not None:
            return
        _write(session, row, values)
        session.add(row)
        remember(session, key, str(values["name"]))


def _write(session: Session, row: Row, values: dict[str, object]) -> None:
    column: InstrumentedAttribute[str] = type(row).name
    taken = session.scalar(select(type(row).id).where(column == values["name"], type(row).id != (row.id or 0)))
    if taken is not None:
        raise Faults([Invalid("name", f"There is already one named {values['name']}; give this one another name.")])
    for name_, value in values.items():
        setattr(row, name_, value)


def _revise(store: Store, kind: type[Row], row_id: int, values: dict[str, object], seen: str) -> None:
    with store.transaction() as session:
        row = _got(session, kind, row_id)
        now_typed = scale_as_typed(row) if isinstance(row, Scale) else packaging_as_typed(row)
        if fingerprint(now_typed) != seen:
            raise Conflict(f"{row.name} was changed in the meantime.")
        _write(session, row, values)


def _got(session: Session, kind: type[Row], row_id: int) -> Row:
    row = session.get(kind, row_id)
    if row is None:
        raise NotFound("There is no such entry in the workshop.")
    return row


def load_scale(store: Store, scale_id: int) -> Scale:
    """Read one scale.

    Raises:
        NotFound: when there is none.
    """
    with store.reading() as session:
        return _got(session, Scale, scale_id)


def load_packaging(store: Store, packaging_id: int) -> Packaging:
    """Read one piece of packaging.

    Raises:
        NotFound: when there is none.
    """
    with store.reading() as session:
        return _got(session, Packaging, packaging_id)


def add_scale(store: Store, typed: TypedScale, key: str = "") -> None:
    """Note a scale; the same form taken twice notes it once.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    _add(store, Scale(), read_scale(typed), key)


def revise_scale(store: Store, scale_id: int, typed: TypedScale, seen: str) -> None:
    """Write what was changed in a scale; ``seen`` is its fingerprint as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such scale.
    """
    _revise(store, Scale, scale_id, read_scale(typed), seen)


def remove_scale(store: Store, scale_id: int) -> str:
    """Take a scale off the list and give its name; batches keep the name of the scale they were weighed on.

    Raises:
        NotFound: when there is no such scale.
    """
    with store.transaction() as session:
        scale = _got(session, Scale, scale_id)
        session.delete(scale)
        return scale.name


def add_packaging(store: Store, typed: TypedPackaging, key: str = "") -> None:
    """Note a piece of packaging; the same form taken twice notes it once.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    _add(store, Packaging(), read_packaging(typed), key)


def revise_packaging(store: Store, packaging_id: int, typed: TypedPackaging, seen: str) -> None:
    """Write what was changed in a piece of packaging; ``seen`` is its fingerprint as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such packaging.
    """
    _revise(store, Packaging, packaging_id, read_packaging(typed), seen)


def retire_packaging(store: Store, packaging_id: int, *, back: bool = False) -> str:
    """Take packaging out of the choices, or put it back, and give its name; formulas keep it.

    Raises:
        NotFound: when there is none.
    """
    with store.transaction() as session:
        piece = _got(session, Packaging, packaging_id)
        piece.retired_at = None if back else piece.retired_at or now()
        return piece.name
