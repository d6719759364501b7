"""A file of dispatches: what taking it would do, taking it whole, and taking it back as a whole."""

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.distribution import STANDS, Dispatch, DispatchImport, DispatchKind, Receiver
from app.store.errors import NotFound
from app.work.action import action
from app.work.clock import now
from app.work.csv_text import MOST_FAULTS, LineFault, Record, Unreadable, decode, read_table, write_table
from app.work.form import Faults
from app.work.packing.finished import units_on_hand
from app.work.tracing.receivers import forget_now
from app.work.tracing.sending import DispatchForm, Packed, check_released, packed_under, units_out, write_dispatch

COLUMNS = ("code", "product", "kind", "units", "date", "receiver", "receiver_kind", "contact", "order_number")
REQUIRED = ("code", "units")
FIELDS = {column: column for column in COLUMNS} | {"date": "sent_on"}
EXAMPLE = {
    "code": "HC-2026-001", "kind": "sale", "units": "6", "date": "2026-11-20", "receiver": "Corner Shop",
    "receiver_kind": "shop", "contact": "corner@shop.example", "order_number": "1044",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class FileLine:
    """A line of a file that can be taken: its number, the form it is, and the batch and product it means."""

    line: int
    form: DispatchForm
    batch: str
    product: str
    known_before: bool


@dataclass(frozen=True, slots=True)
class SentPreview:
    """What taking a file would do; nothing is written yet."""

    lines: tuple[FileLine, ...]
    units: int
    new_receivers: int


def preview_sent(session: Session, data: bytes, by: str) -> SentPreview:
    """Return what taking a file would do.

    Raises:
        Unreadable: with everything that is wrong, line by line; the file is taken whole or not at all.
    """
    records = read_table(decode(data), REQUIRED, COLUMNS)
    if not records:
        raise Unreadable([LineFault(0, "There is no dispatch in this file.")])
    faults: list[LineFault] = []
    lines: list[FileLine] = []
    packed: dict[tuple[str, str], Packed] = {}
    left: dict[tuple[int, int], int] = {}
    for record in records:
        try:
            lines.append(_file_line(session, record, by, packed, left))
        except Faults as wrong:
            faults += [LineFault(record.line, fault.message) for fault in wrong.faults]
        except Invalid as fault:
            faults.append(LineFault(record.line, fault.message))
    if faults:
        raise Unreadable(faults[:MOST_FAULTS])
    there = {name.lower() for name in _known(session, lines)}
    new = {one.form.receiver.lower() for one in lines if one.form.receiver} - there
    return SentPreview(tuple(lines), sum(one.form.units for one in lines), len(new))


def _file_line(
    session: Session,
    record: Record,
    by: str,
    packed: dict[tuple[str, str], Packed],
    left: dict[tuple[int, int], int],
) -> FileLine:
    texts = {FIELDS[column]: cell.strip() for column, cell in record.cells.items()}
    form = DispatchForm(**{name: text for name, text in texts.items() if text}).but(by=by).checked()
    place = (form.code, form.product)
    if place not in packed:
        packed[place] = packed_under(session, *place)
    what = packed[place]
    key = (what.product.id, what.batch.id)
    if key not in left:
        left[key] = units_on_hand(session, *key)
    if form.kind is not DispatchKind.RETURNED:
        check_released(session, what.batch, form.kind)
        if form.units > left[key]:
            raise Invalid("units", f"of batch {what.batch.number} only {max(left[key], 0)} units are left here.")
    back = form.kind is DispatchKind.RETURNED
    left[key] += form.units if back else -form.units
    same = select(func.count(Dispatch.id)).where(
        STANDS, Dispatch.batch_id == what.batch.id, Dispatch.product_id == what.product.id, Dispatch.kind == form.kind,
        Dispatch.units == form.units, Dispatch.sent_on == form.sent_on, Dispatch.order_number == form.order_number,
    )  # fmt: skip
    known = bool(form.order_number and session.scalar(same))
    return FileLine(record.line, form, what.batch.number, what.name, known)


def _known(session: Session, lines: Iterable[FileLine]) -> list[str]:
    names = sorted({one.form.receiver.lower() for one in lines})
    asked = select(Receiver.name).where(func.lower(Receiver.name).in_(names), Receiver.forgotten_at.is_(None))
    return list(session.scalars(asked))


@action(once="file of dispatches")
def take_sent(session: Session, data: bytes, *, by: str, file_name: str = "", key: str = "") -> int:
    """Take a file whole and return the id of its import.

    Raises:
        Unreadable: with everything that is wrong; nothing is written then.
    """
    found = preview_sent(session, data, by)
    row = DispatchImport(
        taken_at=now(), taken_by=by.strip()[:80], file_name=file_name.strip()[:200], lines=len(found.lines)
    )
    session.add(row)
    session.flush()
    for one in found.lines:
        try:
            write_dispatch(session, one.form, import_id=row.id)
        except Invalid as fault:
            raise Unreadable([LineFault(one.line, fault.message)]) from fault
    return row.id


@action()
def undo_sent(session: Session, import_id: int, *, by: str) -> str:
    """Take an import back as a whole: its lines are cancelled, receivers that only it brought are forgotten.

    Returns:
        How many lines it had, in words.

    Raises:
        Invalid: when units of it have come back or gone out again since.
        NotFound: when there is no such import, or it was taken back already.
    """
    row = session.get(DispatchImport, import_id)
    if row is None or row.undone_at is not None:
        raise NotFound("There is no such import to undo.")
    lines = session.scalars(select(Dispatch).where(Dispatch.import_id == import_id, STANDS)).all()
    moment = now()
    for line in lines:
        line.cancelled_at, line.cancelled_by, line.cancelled_why = moment, by.strip() or "–", "file taken back"
    row.undone_at = moment
    session.flush()
    for product_id, batch_id in {(line.product_id, line.batch_id) for line in lines}:
        if units_out(session, product_id, batch_id) < 0 or units_on_hand(session, product_id, batch_id) < 0:
            raise Invalid("", "Units of this file have come back or gone out again since; cancel those lines first.")
    used = select(Dispatch.receiver_id).where(Dispatch.receiver_id.is_not(None), STANDS)
    only_here = select(Receiver).where(
        Receiver.import_id == import_id, Receiver.forgotten_at.is_(None), Receiver.id.not_in(used)
    )
    for receiver in session.scalars(only_here).all():
        forget_now(session, receiver)
    return f"{len(lines)} {'line' if len(lines) == 1 else 'lines'}"


def list_sent_files(session: Session) -> list[DispatchImport]:
    """Return the imports, newest first."""
    return list(session.scalars(select(DispatchImport).order_by(DispatchImport.id.desc()).limit(20)))


def example_csv() -> str:
    """Return a file with one line, to be filled in."""
    return write_table(COLUMNS, [EXAMPLE], ("units",))


def sent_csv(rows: Iterable[Dispatch]) -> str:
    """Return dispatches as a table that can be taken again elsewhere; cancelled ones are left out."""
    return write_table(
        COLUMNS,
        (
            {
                "code": one.batch.number, "product": one.product_name, "kind": one.kind.value, "units": str(one.units),
                "date": one.sent_on.isoformat(), "receiver": one.receiver.name if one.receiver else "",
                "receiver_kind": one.receiver.kind.value if one.receiver else "",
                "contact": one.receiver.contact if one.receiver else "", "order_number": one.order_number,
            }
            for one in rows
            if one.cancelled_at is None
        ),
        ("units",),
    )  # fmt: skip
