"""Materials as a file: out for a spreadsheet or another workshop, and in again, all or nothing."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.science.names import inci_key
from app.science.numbers import plain
from app.store.engine import Store
from app.store.material_queries import all_materials
from app.store.materials import Material
from app.work.clock import now
from app.work.csv_text import MOST_FAULTS, LineFault, Record, Unreadable, read_table, write_table
from app.work.materials.reading import MaterialValues, as_typed, read_material
from app.work.materials.shelf import insert_material, update_material
from app.work.materials.typed_material import TypedMaterial, TypedPart, changes, from_shelf, number
from app.work.once import earlier_result, remember, scoped
from app.work.typed import Faults

OWN = {
    "name": "name",
    "form": "form",
    "phase": "phase_hint",
    "functions": "functions",
    "density g/ml": "density",
    "use from %": "use_low",
    "use to %": "use_high",
    "ph from": "ph_min",
    "ph to": "ph_max",
    "highest temperature c": "max_temp",
    "cautions": "cautions",
    "notes": "notes",
    "source": "source",
    "supplier": "supplier",
    "library": "library_key",
}
OF_PART = {"inci": "inci", "percent": "percent", "cas": "cas", "kind": "kind", "part source": "source"}
RANGE = ("low", "high")
COLUMNS = (
    *OWN,
    "retired",
    "part",
    "inci",
    "percent",
    *RANGE,
    "cas",
    "kind",
    "nano",
    "may contain",
    "allergens",
    "part source",
)
REQUIRED = ("name", "inci")
NUMBERS = (
    "density g/ml",
    "use from %",
    "use to %",
    "ph from",
    "ph to",
    "highest temperature c",
    "part",
    "percent",
    *RANGE,
)
YES = {"yes", "y", "1", "true", "x"}


@dataclass(frozen=True, slots=True)
class Incoming:
    """A material of a file: the line it starts in, as typed, as read, and whether it is retired."""

    line: int
    typed: TypedMaterial
    values: MaterialValues
    retired: bool


@dataclass(frozen=True, slots=True)
class Preview:
    """What taking a file would do: names that are new, that differ from the shelf, and that are there as they are."""

    new: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]


def export_materials(store: Store) -> str:
    """Write every material, a line per substance in it; what belongs to the material stands in its first line."""
    with store.reading() as session:
        return write_table(COLUMNS, (row for m in all_materials(session) for row in _lines(m)), NUMBERS)


def _lines(material: Material) -> Iterator[dict[str, str]]:
    typed = from_shelf(material)
    first = {column: getattr(typed, field) for column, field in OWN.items()}
    first["retired"] = "yes" if material.retired_at else ""
    for place, (part, stored) in enumerate(zip(typed.parts, material.parts, strict=True)):
        row = first if place == 0 else {"name": material.name}
        yield row | {
            "part": str(place + 1),
            "inci": part.inci,
            "percent": plain(stored.percent),
            "low": number(stored.low),
            "high": number(stored.high),
            "cas": part.cas,
            "kind": part.kind,
            "nano": "yes" if part.nano else "",
            "may contain": "yes" if part.may_contain else "",
            "allergens": "; ".join(part.allergens.splitlines()),
            "part source": part.source,
        }


def read_file(text: str) -> list[Incoming]:
    """Read the materials of a file.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    listed = list(_grouped(read_table(text, REQUIRED, COLUMNS)))
    faults = list(_doubled(listed))
    found: list[Incoming] = []
    for _, records in listed:
        try:
            found.append(_incoming(records))
        except Faults as wrong:
            faults += [_at_line(fault.field, fault.message, records) for fault in wrong.faults]
    if faults or not found:
        none = [LineFault(0, "There is no material in this file.")]
        raise Unreadable(sorted(faults, key=lambda fault: fault.line)[:MOST_FAULTS] or none)
    return found


def _grouped(records: Iterable[Record]) -> Iterator[tuple[str, list[Record]]]:
    """Put the lines of one material together: lines in a row with one name, begun anew by part 1."""
    kept: list[Record] = []
    for record in records:
        begins = record.cells.get("part", "").strip() == "1"
        if kept and (begins or _key(record) != _key(kept[0])):
            yield _key(kept[0]), kept
            kept = []
        kept.append(record)
    if kept:
        yield _key(kept[0]), kept


def _key(record: Record) -> str:
    return inci_key(record.cells["name"])


def _doubled(listed: Iterable[tuple[str, list[Record]]]) -> Iterator[LineFault]:
    seen: dict[str, int] = {}
    for key, records in listed:
        line = records[0].line
        retired = records[0].cells.get("retired", "").strip().casefold() in YES
        if key in seen and key and not retired:
            yield LineFault(
                line, f"{records[0].cells['name']} is in line {seen[key]} already; keep its lines together."
            )
        elif not retired:
            seen[key] = line


def _incoming(records: list[Record]) -> Incoming:
    cells = records[0].cells
    own = {field: cells.get(column, "") for column, field in OWN.items()}
    own["phase_hint"] = own["phase_hint"] or "any"
    typed = TypedMaterial(**own, parts=tuple(_part(record) for record in records))
    retired = cells.get("retired", "").strip().casefold() in YES
    return Incoming(records[0].line, typed, read_material(typed), retired)


def _part(record: Record) -> TypedPart:
    cells = record.cells
    texts = {field: cells.get(column, "") for column, field in OF_PART.items()}
    low, high = (cells.get(name, "").strip() for name in RANGE)
    if low and high:
        texts["percent"] = f"{low}-{high} ({texts['percent']})" if texts["percent"].strip() else f"{low}-{high}"
    return TypedPart(
        **{**texts, "kind": texts["kind"].strip() or "ingredient"},
        nano=cells.get("nano", "").strip().casefold() in YES,
        may_contain=cells.get("may contain", "").strip().casefold() in YES,
        allergens="\n".join(cells.get("allergens", "").split(";")),
    )


def _at_line(field: str, message: str, records: list[Record]) -> LineFault:
    """Place a fault of a material or of one of its parts at the line it came from."""
    _, _, rest = field.partition("part-")
    place = int(rest.split("-")[0]) if rest else 0
    return LineFault(records[min(place, len(records) - 1)].line, message)


def preview(store: Store, text: str) -> Preview:
    """Tell what taking a file would do; writes nothing.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    incoming = read_file(text)
    with store.reading() as session:
        pairs = _paired(session, incoming)
    new = tuple(one.values.name for one, stored in pairs if stored is None)
    there = [(one, stored) for one, stored in pairs if stored is not None]
    changed = tuple(one.values.name for one, stored in there if _differs(one, stored))
    return Preview(new, changed, tuple(one.values.name for one, stored in there if not _differs(one, stored)))


def _paired(session: Session, incoming: list[Incoming]) -> list[tuple[Incoming, Material | None]]:
    """Put each material of a file beside the one of the same name on the shelf, retired beside retired."""
    stored = {(m.name_key, m.retired_at is not None): m for m in all_materials(session)}
    return [(one, stored.get((inci_key(one.values.name), one.retired))) for one in incoming]


def _differs(one: Incoming, stored: Material) -> bool:
    return bool(changes(as_typed(one.values), from_shelf(stored)))


def import_materials(store: Store, text: str, *, update: bool, key: str = "") -> int:
    """Take the materials of a file, all or nothing, and give how many were written.

    Args:
        text: the file.
        update: take the file's figures for materials of the same name; else they stay as they are.
        key: the one-time key of the form; the same form taken twice writes once.

    Raises:
        Unreadable: with everything that is wrong, by line; nothing is written then.
    """
    incoming = read_file(text)
    key = scoped("materials file", key)
    with store.transaction() as session:
        earlier = earlier_result(session, key)
        if earlier is not None:
            return int(earlier)
        written = sum(_take(session, one, stored, update=update) for one, stored in _paired(session, incoming))
        remember(session, key, str(written))
        return written


def _take(session: Session, one: Incoming, stored: Material | None, *, update: bool) -> bool:
    if stored is not None:
        if update:
            update_material(session, stored, replace(one.values, library_key=stored.library_key))
        return update
    insert_material(session, one.values, retired_at=now() if one.retired else None)
    return True
