"""Materials as a file: out for a spreadsheet or another workshop, and in again once every line is right."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from time import sleep

from sqlalchemy.orm import Session

from app.science.names import inci_key
from app.science.numbers import plain, plain_or_empty
from app.store.engine import Store
from app.store.material_queries import all_materials, materials_named
from app.store.materials import MaterialRow
from app.work.action import action
from app.work.clock import now
from app.work.csv_text import MOST_FAULTS, LineFault, Record, Unreadable, read_table, write_table
from app.work.form import Faults
from app.work.form_fields import is_yes
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import new_material, update_material

RANGE = ("low", "high")
COLUMNS = (
    *MaterialForm.csv_columns(),
    "retired",
    "part",
    *(column for name in PartForm.csv_columns() for column in ((name, *RANGE) if name == "percent" else (name,))),
)
REQUIRED = ("name", "inci")
NUMBERS = (
    *(column for column, field in MaterialForm.csv_columns().items() if field.numeric),
    "part",
    "percent",
    *RANGE,
)
# A piece is written in well under a second; between two of them others who wait get their turn.
PIECE = 100
TURN_S = 0.06


@dataclass(frozen=True, slots=True)
class Incoming:
    """A material of a file: the line it starts in, its form with every field read, and whether it is retired."""

    line: int
    form: MaterialForm
    retired: bool

    @property
    def key(self) -> tuple[str, bool]:
        """What tells it from the others: its name, retired or not."""
        return inci_key(self.form.name), self.retired


@dataclass(frozen=True, slots=True)
class TransferPreview:
    """What taking a file would do: names that are new, that differ from the shelf, and that are there as they are."""

    new: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]


def export_materials(store: Store) -> str:
    """Return every material, a line per substance in it; what belongs to the material stands in its first line."""
    with store.reading() as session:
        return write_table(COLUMNS, (row for m in all_materials(session) for row in material_lines(m)), NUMBERS)


def material_lines(material: MaterialRow) -> Iterator[dict[str, str]]:
    """Yield the lines of a material, one for each substance in it."""
    form = MaterialForm.of(material)
    first = form.cells | {"retired": "yes" if material.retired_at else ""}
    for place, (part, stored) in enumerate(zip(form.text["parts"], material.parts, strict=True)):
        row = first if place == 0 else {"name": material.name}
        yield (
            row
            | part.cells
            | {
                "part": str(place + 1),
                "percent": plain(stored.percent),
                "low": plain_or_empty(stored.low),
                "high": plain_or_empty(stored.high),
                "allergens": "; ".join(part.text["allergens"].splitlines()),
            }
        )


def read_file(text: str) -> list[Incoming]:
    """Return the materials of a file.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    listed = list(_grouped(read_table(text, REQUIRED, COLUMNS)))
    faults = list(_doubled(listed))
    found: list[Incoming] = []
    for _, records in listed:
        try:
            cells = records[0].cells
            typed = MaterialForm.from_cells(cells, parts=tuple(_part(record.cells) for record in records))
            found.append(Incoming(records[0].line, typed.checked(), is_yes(cells.get("retired", ""))))
        except Faults as wrong:
            for fault in wrong.faults:  # a fault of a part stands at the line of that part
                _, _, rest = fault.field.partition("part-")
                place = int(rest.split("-")[0]) if rest else 0
                faults.append(LineFault(records[min(place, len(records) - 1)].line, fault.message))
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
        retired = is_yes(records[0].cells.get("retired", ""))
        if key in seen and key and not retired:
            yield LineFault(
                line, f"{records[0].cells['name']} is in line {seen[key]} already; keep its lines together."
            )
        elif not retired:
            seen[key] = line


def _part(cells: Mapping[str, str]) -> PartForm:
    low, high, percent = (cells.get(name, "").strip() for name in (*RANGE, "percent"))
    if low and high:
        percent = f"{low}-{high} ({percent})" if percent else f"{low}-{high}"
    return PartForm.from_cells(cells, percent=percent, allergens="\n".join(cells.get("allergens", "").split(";")))


def preview(store: Store, text: str) -> TransferPreview:
    """Return what taking a file would do; writes nothing.

    Raises:
        Unreadable: with everything that is wrong, by line.
    """
    incoming = read_file(text)
    new: list[str] = []
    changed: list[str] = []
    same: list[str] = []
    with store.reading() as session:
        stored = {(m.name_key, m.retired_at is not None): m for m in all_materials(session)}
        for one in incoming:
            there = stored.get(one.key)
            listed = (
                new if there is None else changed if one.form.as_read().differences(MaterialForm.of(there)) else same
            )
            listed.append(one.form.name)
    return TransferPreview(tuple(new), tuple(changed), tuple(same))


def import_materials(store: Store, text: str, *, update: bool, key: str = "") -> int:
    """Take the materials of a file and return how many were written; nothing when any line is wrong.

    A long file is written in pieces, so that others can save in between. One that was broken off is taken again
    from its beginning: what is there already stays.

    Args:
        text: the file.
        update: take the file's figures for materials of the same name; else they stay as they are.
        key: the one-time key of the form; the same form taken twice writes once.

    Raises:
        Unreadable: with everything that is wrong, by line; nothing is written then.
    """
    incoming = read_file(text)
    pieces = [incoming[start : start + PIECE] for start in range(0, len(incoming), PIECE)]
    written = 0
    for number, piece in enumerate(pieces):
        written += _take_piece(store, piece, update=update, key=key and f"{key} {number}")
        if number + 1 < len(pieces):
            sleep(TURN_S)
    return written


@action(once="materials file")
def _take_piece(session: Session, piece: Sequence[Incoming], *, update: bool, key: str = "") -> int:
    stored = {
        (m.name_key, m.retired_at is not None): m for m in materials_named(session, [one.key[0] for one in piece])
    }
    written = 0
    for one in piece:
        there = stored.get(one.key)
        if there is None:
            session.add(new_material(one.form, retired_at=now() if one.retired else None))
        elif update:
            update_material(session, there, one.form.but(library_key=there.library_key or ""))
        written += there is None or update
    return written
