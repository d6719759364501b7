"""From lots to batches and back: the two recursive queries, and what hangs on the batches they reach.

A lot went into a batch where a weighing of it stands; a lot came from a batch where it names one. Each query walks
those two steps by weighings and lets every weighing in once, so that a circle of rework ends. What was typed as a lot
and is none of the shelf is text; it is found by its exact words and the material, and marked.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import CTE, ColumnElement, Select, case, exists, func, select, type_coerce
from sqlalchemy.orm import Session, aliased

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.distribution import STANDS as DISPATCH_STANDS
from app.store.distribution import Dispatch, DispatchKind, Receiver
from app.store.formulas import FormulaVersion
from app.store.materials import MaterialRow, PackagingRow
from app.store.packing import PackingLotUse, PackingRun, RunState
from app.store.stock import Lot, LotState, Supplier
from app.store.types import ExactDecimal

# More names than this are asked for in portions; databases limit the values of one statement.
AT_ONCE = 5_000
# What was weighed; asked for only where something was.
GRAMS = type_coerce(BatchWeighing.grams, ExactDecimal())


@dataclass(frozen=True, slots=True)
class Use:
    """A lot that went into a batch: grams of one weighing that stands, or pieces of packaging in a packing run."""

    weighing_id: int
    lot_id: int | None
    lot_text: str
    batch_id: int
    material: str
    grams: Decimal
    material_id: int
    by_text: bool = False


@dataclass(frozen=True, slots=True)
class LotNode:
    """What a trace says of a lot."""

    id: int
    code: str
    name: str
    material_id: int | None
    packaging_id: int | None
    from_batch_id: int | None
    supplier_id: int | None
    supplier: str
    supplier_lot: str
    received_on: date
    amount: str
    state: LotState
    on_hand: Decimal

    @property
    def unit(self) -> str:
        """``g``, or ``pieces`` for packaging."""
        return "g" if self.packaging_id is None else "pieces"


@dataclass(frozen=True, slots=True)
class BatchNode:
    """What a trace says of a batch."""

    id: int
    number: str
    product: str
    state: BatchState
    planned_on: date


@dataclass(frozen=True, slots=True)
class RunNode:
    """A packing run of a batch, with the packaging lots it used."""

    id: int
    number: str
    batch_id: int
    product_id: int
    product: str
    code_printed: str
    packed_on: date
    units: int


@dataclass(frozen=True, slots=True)
class SentNode:
    """Units of a batch, or of one run of it, that one receiver got and gave back; nobody may be named."""

    batch_id: int
    run_id: int | None
    receiver_id: int | None
    receiver: str
    product: str
    sent: int
    returned: int
    last_on: date


def _stands() -> ColumnElement[bool]:
    """Whether a weighing counts: something was weighed, and no later row corrects it."""
    later = aliased(BatchWeighing)
    something = BatchWeighing.grams.is_not(None) & (BatchWeighing.grams != Decimal(0))
    return something & ~exists(select(later.id).where(later.replaces_id == BatchWeighing.id))


def forward_of(lots: Collection[int]) -> CTE:
    """Return the weighings that lots went into batches by, and the lots that those batches made, at any depth.

    Columns: ``weighing_id``, ``lot_id``, ``batch_id``.
    """
    first = (
        select(BatchWeighing.id.label("weighing_id"), BatchWeighing.lot_id, BatchLine.batch_id)
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .where(BatchWeighing.lot_id.in_(lots), _stands())
    )
    reach = first.cte("reach", recursive=True)
    made = aliased(Lot)
    more = (
        select(BatchWeighing.id, BatchWeighing.lot_id, BatchLine.batch_id)
        .select_from(reach)
        .join(made, made.from_batch_id == reach.c.batch_id)
        .join(BatchWeighing, BatchWeighing.lot_id == made.id)
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .where(_stands())
    )
    return reach.union(more)


def backward_of(batches: Collection[int]) -> CTE:
    """Return the weighings of batches that name a lot, and those of the batches those lots were made in, at any depth.

    Columns: ``weighing_id``, ``lot_id``, ``batch_id``.
    """
    first = (
        select(BatchWeighing.id.label("weighing_id"), BatchWeighing.lot_id, BatchLine.batch_id)
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .where(BatchLine.batch_id.in_(batches), BatchWeighing.lot_id.is_not(None), _stands())
    )
    reach = first.cte("reach", recursive=True)
    source = aliased(Lot)
    more = (
        select(BatchWeighing.id, BatchWeighing.lot_id, BatchLine.batch_id)
        .select_from(reach)
        .join(source, source.id == reach.c.lot_id)
        .join(BatchLine, BatchLine.batch_id == source.from_batch_id)
        .join(BatchWeighing, BatchWeighing.line_id == BatchLine.id)
        .where(BatchWeighing.lot_id.is_not(None), _stands())
    )
    return reach.union(more)


def uses_in(session: Session, reach: CTE) -> list[Use]:
    """Return every use that a trace reached."""
    asked = (
        select(
            BatchWeighing.id, BatchWeighing.lot_id, BatchWeighing.lot_text, reach.c.batch_id, BatchLine.name,
            GRAMS, BatchLine.material_id,
        )
        .join(reach, reach.c.weighing_id == BatchWeighing.id)
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .order_by(reach.c.batch_id, BatchWeighing.id)
    )  # fmt: skip
    return [Use(*row) for row in session.execute(asked)]


def typed_uses(session: Session, lots: Collection[LotNode]) -> list[Use]:
    """Return weighings whose lot was only typed, in the very words of one of these lots, of the same material."""
    named: dict[tuple[int | None, str], list[int]] = {}
    for lot in lots:
        if lot.material_id is not None:
            for form in dict.fromkeys((*variants(lot.code), *variants(lot.supplier_lot))):
                named.setdefault((lot.material_id, form), []).append(lot.id)
    texts = sorted({text for _, text in named})
    return [
        replace(use, lot_id=lot_id)
        for start in range(0, len(texts), AT_ONCE)
        for use in _typed(session, BatchWeighing.lot_text.in_(texts[start : start + AT_ONCE]))
        for lot_id in named.get((use.material_id, use.lot_text), ())
    ]


def _typed(session: Session, where: ColumnElement[bool]) -> Iterator[Use]:
    asked = (
        select(
            BatchWeighing.id, BatchWeighing.lot_id, BatchWeighing.lot_text, BatchLine.batch_id, BatchLine.name,
            GRAMS, BatchLine.material_id,
        )
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .where(BatchWeighing.lot_id.is_(None), _stands(), where)
        .order_by(BatchWeighing.id)
    )  # fmt: skip
    return (Use(*row, by_text=True) for row in session.execute(asked))


def typed_in(session: Session, batches: Collection[int]) -> list[Use]:
    """Return what batches were weighed from that names no lot of the shelf: typed words, or nothing at all."""
    ids = sorted(batches)
    return [
        use
        for start in range(0, len(ids), AT_ONCE)
        for use in _typed(session, BatchLine.batch_id.in_(ids[start : start + AT_ONCE]))
    ]


def typed_as(session: Session, code: str) -> list[Use]:
    """Return the weighings whose lot was only typed, in just these words."""
    return list(_typed(session, BatchWeighing.lot_text.in_(variants(code))))


def variants(code: str) -> tuple[str, ...]:
    """Return a code as written, in capitals, in small letters and with one capital: each is looked up by an index."""
    bare = code.strip()
    return tuple(dict.fromkeys((bare, bare.upper(), bare.lower(), bare.capitalize()))) if bare else ()


def corrected_uses(session: Session, lots: Collection[int]) -> list[tuple[Use, str]]:
    """Return the weighings of lots that a later row corrected, each with the reason; they count nowhere else."""
    later = aliased(BatchWeighing)
    asked = (
        select(
            BatchWeighing.id, BatchWeighing.lot_id, BatchWeighing.lot_text, BatchLine.batch_id, BatchLine.name,
            GRAMS, BatchLine.material_id, later.reason,
        )
        .join(later, later.replaces_id == BatchWeighing.id)
        .join(BatchLine, BatchLine.id == BatchWeighing.line_id)
        .where(BatchWeighing.lot_id.in_(lots), BatchWeighing.grams.is_not(None))
        .order_by(BatchWeighing.id)
    )  # fmt: skip
    return [(Use(*row[:7]), row[7]) for row in session.execute(asked)]


def batch_nodes(session: Session, batches: Collection[int]) -> dict[int, BatchNode]:
    """Return some batches by their ids, as a trace says them."""
    found: dict[int, BatchNode] = {}
    ids = sorted(batches)
    for start in range(0, len(ids), AT_ONCE):
        asked = (
            select(Batch.id, Batch.number, FormulaVersion.name, Batch.state, Batch.planned_on)
            .join(FormulaVersion, FormulaVersion.id == Batch.version_id)
            .where(Batch.id.in_(ids[start : start + AT_ONCE]))
        )
        found |= {row[0]: BatchNode(*row) for row in session.execute(asked)}
    return found


def lots_made_in(session: Session, batches: Collection[int]) -> list[tuple[int, int]]:
    """Return the lots that batches made: the id of each, and of its batch."""
    found: list[tuple[int, int]] = []
    ids = sorted(batches)
    for start in range(0, len(ids), AT_ONCE):
        asked = select(Lot.id, Lot.from_batch_id).where(Lot.from_batch_id.in_(ids[start : start + AT_ONCE]))
        found += [(lot_id, batch_id) for lot_id, batch_id in session.execute(asked.order_by(Lot.id)) if batch_id]
    return found


def runs_of(session: Session, batches: Collection[int] = (), *, packaging_lots: Collection[int] = ()) -> list[RunNode]:
    """Return the packing runs of batches, or those that used lots of packaging; a cancelled run packed nothing."""
    found: list[RunNode] = []
    units = PackingRun.units_filled - PackingRun.units_spoilt - PackingRun.units_sampled
    asked = (
        select(
            PackingRun.id, PackingRun.number, PackingRun.batch_id, PackingRun.product_id, PackingRun.product_name,
            PackingRun.code_printed, PackingRun.packed_on, units,
        )
        .where(PackingRun.state != RunState.CANCELLED)
        .order_by(PackingRun.packed_on, PackingRun.id)
    )  # fmt: skip
    if packaging_lots:
        used = select(PackingLotUse.run_id).where(PackingLotUse.lot_id.in_(packaging_lots), PackingLotUse.used > 0)
        return [RunNode(*row) for row in session.execute(asked.where(PackingRun.id.in_(used)))]
    ids = sorted(batches)
    for start in range(0, len(ids), AT_ONCE):
        part = asked.where(PackingRun.batch_id.in_(ids[start : start + AT_ONCE]))
        found += [RunNode(*row) for row in session.execute(part)]
    return found


def packaging_of(session: Session, runs: Collection[int]) -> list[tuple[int, int, Decimal]]:
    """Return the lots of packaging that runs used: the run, the lot, the pieces."""
    found: list[tuple[int, int, Decimal]] = []
    ids = sorted(runs)
    for start in range(0, len(ids), AT_ONCE):
        asked = select(PackingLotUse.run_id, PackingLotUse.lot_id, PackingLotUse.used).where(
            PackingLotUse.run_id.in_(ids[start : start + AT_ONCE]), PackingLotUse.used > 0
        )
        found += [(run, lot, used) for run, lot, used in session.execute(asked.order_by(PackingLotUse.id))]
    return found


def sent_of(
    session: Session,
    *,
    batches: Collection[int] = (),
    receiver_id: int | None = None,
) -> list[SentNode]:
    """Return what went out of batches, or to one receiver, summed up by batch, run, receiver and product."""
    came_back = Dispatch.kind == DispatchKind.RETURNED
    sent, returned = case((came_back, 0), else_=Dispatch.units), case((came_back, Dispatch.units), else_=0)
    asked = (
        select(
            Dispatch.batch_id, Dispatch.run_id, Dispatch.receiver_id, Receiver.name, Dispatch.product_name,
            func.sum(sent), func.sum(returned), func.max(Dispatch.sent_on),
        )
        .outerjoin(Receiver, Receiver.id == Dispatch.receiver_id)
        .where(DISPATCH_STANDS)
        .group_by(Dispatch.batch_id, Dispatch.run_id, Dispatch.receiver_id, Receiver.name, Dispatch.product_name)
        .order_by(Dispatch.batch_id, Receiver.name, Dispatch.receiver_id)
    )  # fmt: skip
    if receiver_id is not None:
        return [_sent(*row) for row in session.execute(asked.where(Dispatch.receiver_id == receiver_id))]
    ids = sorted(batches)
    return [
        _sent(*row)
        for start in range(0, len(ids), AT_ONCE)
        for row in session.execute(asked.where(Dispatch.batch_id.in_(ids[start : start + AT_ONCE])))
    ]


def _sent(*row: Any) -> SentNode:
    batch_id, run_id, receiver_id, name, product, sent, returned, last_on = row
    words = name or (f"forgotten receiver {receiver_id}" if receiver_id else "nobody named")
    return SentNode(batch_id, run_id, receiver_id, words, product, int(sent), int(returned), last_on)


def lot_nodes(session: Session, lots: Collection[int]) -> dict[int, LotNode]:
    """Return some lots by their ids, as a trace says them."""
    found: dict[int, LotNode] = {}
    ids = sorted(lots)
    for start in range(0, len(ids), AT_ONCE):
        asked = _lots().where(Lot.id.in_(ids[start : start + AT_ONCE]))
        found |= {row[0]: LotNode(*row) for row in session.execute(asked)}
    return found


def read_typed(session: Session, typed: Collection[Use]) -> tuple[list[Use], list[Use]]:
    """Return typed weighings with the lots of the shelf that their words mean, and those that mean none.

    What `typed_uses` finds from a lot, this finds from the weighing: the two are the same relation.
    """
    materials = sorted({use.material_id for use in typed if use.lot_text})
    by_words: dict[tuple[int | None, str], list[int]] = {}
    for start in range(0, len(materials), AT_ONCE):
        asked = select(Lot.id, Lot.material_id, Lot.code, Lot.supplier_lot)
        for lot_id, material_id, *codes in session.execute(
            asked.where(Lot.material_id.in_(materials[start : start + AT_ONCE])).order_by(Lot.id)
        ):
            for form in dict.fromkeys((*variants(codes[0]), *variants(codes[1]))):
                by_words.setdefault((material_id, form), []).append(lot_id)
    meant, strange = [], []
    for use in typed:
        lots = by_words.get((use.material_id, use.lot_text), ())
        meant += [replace(use, lot_id=lot_id) for lot_id in lots]
        strange += [] if lots else [use]
    return meant, strange


def _lots() -> Select[*tuple[Any, ...]]:
    name = func.coalesce(MaterialRow.name, PackagingRow.name, "")
    return (
        select(
            Lot.id, Lot.code, name, Lot.material_id, Lot.packaging_id, Lot.from_batch_id, Lot.supplier_id,
            func.coalesce(Supplier.name, ""), Lot.supplier_lot, Lot.received_on, Lot.amount_text, Lot.state,
            Lot.on_hand,
        )
        .outerjoin(MaterialRow, MaterialRow.id == Lot.material_id)
        .outerjoin(PackagingRow, PackagingRow.id == Lot.packaging_id)
        .outerjoin(Supplier, Supplier.id == Lot.supplier_id)
        .order_by(Lot.id)
    )  # fmt: skip
