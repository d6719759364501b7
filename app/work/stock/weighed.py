"""Weighings and lots: the lot that was written is found on the shelf, and the ledger follows the record."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch, BatchLine, BatchWeighing, Deviation
from app.store.materials import MaterialRow
from app.store.stock import Lot, lot_of_code
from app.work.batches.sections import Section, add
from app.work.clock import now, today
from app.work.stock.documents import documents_about
from app.work.stock.ledger import follow_line
from app.work.stock.listing import lots_of
from app.work.stock.lots import house_lot, lots_from

MOST_OFFERED = 6


def bind_lot(session: Session, line: BatchLine, weighing: BatchWeighing, field: str, *, stood: str = "") -> None:
    """Tie a new weighing to the lot of ours that was written; other words stay as they are.

    A lot in quarantine, rejected or past its date, and one that the shelf does not know though it keeps lots of the
    material, is taken only with a reason, written after a colon (``26-306-1: colour test``). What is drawn here and
    has no lot written gets the lot of the day.

    Args:
        stood: the lot of the weighing that a correction replaces; of that no reason is asked again.

    Raises:
        Invalid: at ``field``, when the lot is of another material, or may not be used and no reason is written.
    """
    text = weighing.lot_text.strip()
    if not text:
        material = session.get(MaterialRow, line.material_id)
        if material is not None and material.drawn_here and weighing.grams:
            lot: Lot | None = house_lot(session, material, by=weighing.by)
            weighing.lot_id, weighing.lot_text = (lot.id, lot.code) if lot else (None, "")
        return
    lot, reason = lot_of_code(session, text), ""
    if lot is None:
        code, _, reason = text.partition(":")
        lot = lot_of_code(session, code)
    if lot is not None and lot.material_id != line.material_id:
        raise Invalid(field, f"Lot {lot.code} is of {lot.name}, not of {line.name}.")
    if lot is None and text != stood and _lots_are_kept(session, line):
        # Codes may hold a colon of their own, so that of an unknown one a space has to follow.
        text, _, reason = text.partition(": ")
        against = "not on the shelf"
    else:
        against = lot.why_not(today()) if lot is not None else ""
    code = lot.code if lot is not None else text.strip()
    if against and code != stood and not reason.strip():
        raise Invalid(
            field, f"Lot {code} is {against}. If it is used all the same, enter why after it: {code}: your reason."
        )
    weighing.lot_id, weighing.lot_text = (lot.id if lot is not None else None), code
    weighing.reason = "; ".join(part for part in (weighing.reason, reason.strip()) if part)


def _lots_are_kept(session: Session, line: BatchLine) -> bool:
    return session.scalar(select(Lot.id).where(Lot.material_id == line.material_id).limit(1)) is not None


def settle_lines(session: Session, batch: Batch, lines: Iterable[BatchLine], *, by: str, why: str = "") -> None:
    """Bring the ledger to what the weighings of some lines say; what wants a look goes into the batch's history.

    A lot that was used against its state or date, or that holds nothing, is noted as a deviation, which somebody
    decides on before release.
    """
    session.flush()
    for line in lines:
        grams: dict[int, Decimal] = defaultdict(Decimal)
        reasons: dict[int, str] = {}
        for weighing in line.standing:
            if weighing.lot_id is not None and weighing.grams:
                grams[weighing.lot_id] += weighing.grams
                reasons[weighing.lot_id] = weighing.reason
        why_corrected = next((reason for reason in reasons.values() if reason), why)
        for remark in follow_line(session, line, grams, by=by, why=why_corrected):
            batch.log(f"{line.name}: lot", by=by, at=now(), new=remark.words, why=why_corrected)
            what = f"{line.name}: {remark.words}, used all the same{f' ({why_corrected})' if why_corrected else ''}."
            if remark.is_deviation and not batch.is_decided and what not in {one.what for one in batch.deviations}:
                batch.deviations.append(Deviation(what=what, found_at=now(), found_by=by))


@dataclass(frozen=True, slots=True)
class OfferedLot:
    """A lot as it is offered at the bench."""

    id: int
    code: str
    on_hand: Decimal
    good_until: date | None
    against: str


@dataclass(frozen=True, slots=True)
class OfferedLine:
    """A line to weigh with its lots in the order they should be used."""

    line_id: int
    name: str
    needed_g: Decimal
    lots: tuple[OfferedLot, ...]

    @property
    def is_short(self) -> bool:
        """Whether what may be used does not reach."""
        return sum((lot.on_hand for lot in self.lots if not lot.against), Decimal(0)) < self.needed_g


def offered_lots(session: Session, batch: Batch) -> tuple[OfferedLine, ...] | None:
    """Return the lots to use for what is still to be weighed; None where the batch is decided or no lot is kept."""
    if batch.is_decided:
        return None
    lines = [line for line in batch.lines if line.actual_g is None and not line.is_left_out]
    by_material: dict[int, list[OfferedLot]] = defaultdict(list)
    for lot in lots_of(session, material_ids={line.material_id for line in lines}):
        offered = OfferedLot(lot.id, lot.code, lot.on_hand, lot.good_until, lot.why_not(today()))
        by_material[lot.material_id or 0].append(offered)
    found = tuple(
        OfferedLine(line.id, line.name, line.shown_g, tuple(by_material[line.material_id][:MOST_OFFERED]))
        for line in lines
    )
    return found if any(line.lots for line in found) else None


@dataclass(frozen=True, slots=True)
class BatchStock:
    """What a batch made, as lots, and how many documents are kept about it."""

    lots: tuple[OfferedLot, ...]
    documents: int


def batch_stock(session: Session, batch: Batch) -> BatchStock | None:
    """Return the lots that a batch made and its documents; None before anything was weighed."""
    if not batch.weighed_g:
        return None
    made = (
        OfferedLot(lot.id, lot.code, lot.on_hand, lot.good_until, lot.why_not(today()))
        for lot in lots_from(session, batch.id)
    )
    return BatchStock(tuple(made), len(documents_about(session, batch_id=batch.id)))


add(Section("stock", "Output", "stock/_made.html", batch_stock, ("css/stock.css",)))
add(Section("lots", "Lots to use", "stock/_offered.html", offered_lots, ("css/stock.css",)))
