"""The ledger: every gram or piece that came to a lot or left it is a line, and nothing else changes what is on hand."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from sqlalchemy import ColumnElement, func, select, update
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.batches import BatchLine
from app.store.engine import Store
from app.store.packing import PackingRun
from app.store.stock import Lot, MoveKind, StockMove, get_lot
from app.work.action import action
from app.work.clock import now, today

STEP = Decimal("0.000001")
SHORT = "more was taken than the ledger held"
# What a record lets come into a lot by itself, so that what was taken is there: it goes again with a slip of the pen.
COMES_BY_ITSELF = (MoveKind.COUNTED, MoveKind.RECEIVED)


def move(
    session: Session,
    lot: Lot,
    kind: MoveKind,
    amount: Decimal,
    *,
    by: str,
    why: str = "",
    line: BatchLine | None = None,
    run: PackingRun | None = None,
) -> None:
    """Write a line of the ledger; ``amount`` is in grams or pieces, above zero for what comes, below for what leaves.

    Raises:
        Invalid: at ``amount``, when the lot does not hold so much.
    """
    exact = amount.quantize(STEP, rounding=ROUND_HALF_UP)
    if lot.on_hand + exact < 0:
        raise Invalid(
            "amount",
            f"Lot {lot.code} holds {plain(lot.on_hand)} {lot.unit} by the ledger. "
            "Count it first if there is more on the shelf.",
        )
    session.add(
        StockMove(
            lot_id=lot.id,
            kind=kind,
            amount=exact,
            at=now(),
            by=by.strip(),
            why=why.strip(),
            batch_id=line.batch_id if line else run.batch_id if run else None,
            batch_line_id=line.id if line else None,
            packing_run_id=run.id if run else None,
        )
    )
    session.flush()
    session.refresh(lot, ["on_hand"])


def take(
    session: Session,
    lot: Lot,
    amount: Decimal,
    kind: MoveKind,
    *,
    by: str,
    why: str = "",
    line: BatchLine | None = None,
) -> None:
    """Take an amount out of a lot that may be used, or that a written reason allows.

    Raises:
        Invalid: at ``why``, when the lot is in quarantine, rejected or past its date and no reason is given; at
            ``amount``, when the lot does not hold so much.
    """
    against = lot.why_not(today())
    if against and kind in (MoveKind.WEIGHED_OUT, MoveKind.USED) and not why.strip():
        raise Invalid("why", f"Lot {lot.code} is {against}. Enter why it is used all the same.")
    move(session, lot, kind, -amount, by=by, why=why, line=line)


@dataclass(frozen=True, slots=True)
class LotRemark:
    """Something about a lot that somebody must look at; use against its state or date, or of nothing, deviates."""

    words: str
    is_deviation: bool = False


def follow_line(
    session: Session, line: BatchLine, grams_by_lot: Mapping[int, Decimal], *, by: str, why: str = ""
) -> list[LotRemark]:
    """Bring the ledger to what the record of a batch line says was weighed from which lot.

    Called after every change of the record, with everything that counts now: the difference to what the ledger has
    for this line is weighed out, or returned where the record was corrected. Material that was taken is taken, so a
    lot that holds less by the ledger is counted up first, with the reason. The record of the batch says why a lot was
    used against its state or date.

    Returns:
        What somebody must look at: lots that were short, in quarantine, refused or past their date.
    """
    of_line = StockMove.batch_line_id == line.id
    return _follow(session, of_line, grams_by_lot, MoveKind.WEIGHED_OUT, by=by, why=why, line=line)


def follow_run(
    session: Session,
    run: PackingRun,
    pieces_by_lot: Mapping[int, Decimal],
    *,
    by: str,
    why: str = "",
    corrected: Mapping[int, Decimal] | None = None,
) -> list[LotRemark]:
    """Bring the ledger to what the record of a packing run says of its packaging lots: issued less returned.

    Called as ``follow_line`` is, with everything that counts now. ``corrected`` are pieces by lot that were written as
    issued and never were; what is brought back was.

    Returns:
        What somebody must look at: lots that were short, in quarantine, refused or past their date.
    """
    of_run = StockMove.packing_run_id == run.id
    return _follow(session, of_run, pieces_by_lot, MoveKind.USED, by=by, why=why, run=run, corrected=corrected or {})


def _follow(
    session: Session,
    of_record: ColumnElement[bool],
    amounts: Mapping[int, Decimal],
    kind: MoveKind,
    *,
    by: str,
    why: str,
    line: BatchLine | None = None,
    run: PackingRun | None = None,
    corrected: Mapping[int, Decimal] | None = None,
) -> list[LotRemark]:
    before = dict(
        session.execute(
            select(StockMove.lot_id, func.sum(StockMove.amount))
            .where(of_record, StockMove.kind.not_in(COMES_BY_ITSELF))
            .group_by(StockMove.lot_id)
        ).all()
    )
    remarks: list[LotRemark] = []
    for lot_id in sorted({*before, *amounts}):
        lot = get_lot(session, lot_id)
        wanted = -amounts.get(lot_id, Decimal(0)).quantize(STEP, rounding=ROUND_HALF_UP)
        difference = wanted - Decimal(before.get(lot_id) or 0)
        if difference < 0:
            against = lot.why_not(today())
            remarks += [LotRemark(f"lot {lot.code} is {against}", is_deviation=True)] if against else []
            if lot.on_hand + difference < 0:
                missing = -(lot.on_hand + difference)
                if lot.material is not None and lot.material.drawn_here:
                    move(session, lot, MoveKind.RECEIVED, missing, by=by, why="drawn here", line=line, run=run)
                else:
                    was_empty = lot.on_hand <= 0
                    move(session, lot, MoveKind.COUNTED, missing, by=by, why=SHORT, line=line, run=run)
                    left = "was weighed out" if run is None else "was taken"
                    short = f"{plain(missing)} {lot.unit} less by the ledger than {left}"
                    remarks.append(LotRemark(f"lot {lot.code} held {short}", is_deviation=was_empty))
            move(session, lot, kind, difference, by=by, why=why, line=line, run=run)
        elif difference > 0:
            back = why or ("record corrected" if run is None else f"returned from {run.number}")
            move(session, lot, MoveKind.RETURNED, difference, by=by, why=back, line=line, run=run)
            # What was counted up or drawn for a weight that was never taken was never there.
            never_taken = difference if corrected is None else min(corrected.get(lot_id, Decimal(0)), difference)
            for came_as in COMES_BY_ITSELF:
                came = select(func.coalesce(func.sum(StockMove.amount), 0)).where(
                    of_record, StockMove.kind == came_as, StockMove.lot_id == lot_id
                )
                too_much = min(Decimal(session.scalar(came) or 0), never_taken)
                if too_much > 0:
                    move(session, lot, came_as, -too_much, by=by, why=back, line=line, run=run)
                    never_taken -= too_much
    return remarks


def count_lot(session: Session, lot: Lot, counted: Decimal, *, by: str, why: str = "") -> Decimal:
    """Write what a count found; the difference becomes a line, also when there is none, and is returned."""
    difference = counted.quantize(STEP, rounding=ROUND_HALF_UP) - lot.on_hand
    move(session, lot, MoveKind.COUNTED, difference, by=by, why=why or "stock-take")
    return difference


@dataclass(frozen=True, slots=True)
class LedgerFault:
    """A lot whose amount on hand is not the sum of its moves."""

    lot_id: int
    code: str
    on_hand: Decimal
    by_the_ledger: Decimal


def check_ledger(store: Store) -> tuple[int, list[LedgerFault]]:
    """Return how many lots there are, and those whose amount on hand is not the sum of their moves."""
    with store.reading() as session:
        return session.scalar(select(func.count(Lot.id))) or 0, _faults(session)


def _faults(session: Session) -> list[LedgerFault]:
    zero = Decimal(0)
    summed = select(StockMove.lot_id, func.sum(StockMove.amount).label("total")).group_by(StockMove.lot_id).subquery()
    rows = session.execute(
        select(Lot.id, Lot.code, Lot.on_hand, summed.c.total).outerjoin(summed, summed.c.lot_id == Lot.id)
    )
    return [
        LedgerFault(lot_id, code, on_hand, total or zero)
        for lot_id, code, on_hand, total in rows
        if on_hand != (total or zero)
    ]


@action()
def rebuild_on_hand(session: Session) -> int:
    """Set the amount on hand of every lot to the sum of its moves and return how many differed."""
    faults = _faults(session)
    for fault in faults:
        session.execute(update(Lot).where(Lot.id == fault.lot_id).values(on_hand=fault.by_the_ledger))
    return len(faults)
