"""A trace as one value: the tree both ways, what it adds up to, and the same as lines of a table.

The page, the PDF and the CSV show this value. A lot or batch that stands in the tree already is named again and not
drawn again, so that a tree of any workshop ends.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.numbers import plain
from app.store import tracing
from app.store.batches import Batch
from app.store.distribution import get_receiver
from app.store.errors import NotFound
from app.store.stock import get_lot
from app.store.tracing import LotNode, RunNode, SentNode, Use
from app.work.csv_text import write_table
from app.work.tracing.reach import Reach, back, onward


@dataclass(frozen=True, slots=True)
class TraceBranch:
    """A thing in the tree: what it is, its code, what is said of it, its page, and what hangs on it.

    ``kind`` is ``lot``, ``batch``, ``run``, ``receiver`` or ``typed``; ``amount`` what went from the thing it hangs
    on; ``by_text`` says that only typed words tie it there, ``again`` that it is drawn further up.
    """

    kind: str
    code: str
    name: str
    detail: str = ""
    amount: str = ""
    day: date | None = None
    path: str = ""
    by_text: bool = False
    again: bool = False
    children: tuple["TraceBranch", ...] = ()


@dataclass(frozen=True, slots=True)
class Corrected:
    """A weighing of the lot that was corrected and counts no more, and why."""

    batch_id: int
    batch: str
    grams: str
    reason: str


@dataclass(frozen=True, slots=True)
class Trace:
    """Everything that leads to a lot, a batch or a receiver, and everything it leads to."""

    kind: str
    id: int
    code: str
    name: str
    back: tuple[TraceBranch, ...]
    onward: tuple[TraceBranch, ...]
    came_from: Reach
    went_to: Reach
    corrected: tuple[Corrected, ...] = ()

    @property
    def unnamed(self) -> tuple[Use, ...]:
        """What was weighed with no lot at all."""
        return tuple(use for use in self.came_from.typed if not use.lot_text)


class _Tree:
    """Builds branches from what was reached; remembers what is drawn."""

    def __init__(self, found: Reach) -> None:
        self.found = found
        self.drawn: set[tuple[str, int]] = set()
        self.by_lot: dict[int | None, list[Use]] = defaultdict(list)
        self.by_batch: dict[int, list[Use]] = defaultdict(list)
        for use in found.uses.values():
            self.by_lot[use.lot_id].append(use)
            self.by_batch[use.batch_id].append(use)
        for use in found.typed:
            self.by_batch[use.batch_id].append(use)
        self.made: dict[int | None, list[LotNode]] = defaultdict(list)
        for lot in found.lots.values():
            self.made[lot.from_batch_id].append(lot)
        self.runs: dict[int, list[RunNode]] = defaultdict(list)
        for run in found.runs:
            self.runs[run.batch_id].append(run)
        self.sent: dict[tuple[int, int | None], list[SentNode]] = defaultdict(list)
        for one in found.sent:
            self.sent[one.batch_id, one.run_id].append(one)

    def lot(self, lot: LotNode) -> TraceBranch:
        """Return a lot without what hangs on it."""
        supplier = ", ".join(part for part in (lot.supplier, lot.supplier_lot and f"lot {lot.supplier_lot}") if part)
        return TraceBranch(
            "lot", lot.code, lot.name or "bulk", supplier, day=lot.received_on, path=f"/trace/lot/{lot.id}"
        )

    def batch(self, batch_id: int) -> TraceBranch:
        """Return a batch without what hangs on it."""
        node = self.found.batches[batch_id]
        path = f"/trace/batch/{batch_id}"
        return TraceBranch("batch", node.number, node.product, node.state.value, day=node.planned_on, path=path)

    def first(self, kind: str, key: int) -> bool:
        """Return whether a thing is not drawn yet, and note that it is now."""
        new = (kind, key) not in self.drawn
        self.drawn.add((kind, key))
        return new

    def lot_onward(self, lot: LotNode) -> TraceBranch:
        """Return a lot with the batches it went into, or the packing runs where it is packaging."""
        if lot.packaging_id is not None:
            runs = {run.id: run for run in self.found.runs}
            used = [(runs[run], pieces) for run, of, pieces in self.found.packaging if of == lot.id and run in runs]
            return replace(self.lot(lot), children=tuple(self.run(run, f"{plain(n)} pieces") for run, n in used))
        batches: dict[int, list[Use]] = defaultdict(list)
        for use in self.by_lot[lot.id]:
            batches[use.batch_id].append(use)
        children = tuple(self.batch_onward(batch, *_told(uses)) for batch, uses in sorted(batches.items()))
        return replace(self.lot(lot), children=children)

    def batch_onward(self, batch_id: int, amount: str = "", by_text: bool = False) -> TraceBranch:
        """Return a batch with the lots it made, its packing runs and what went out of it."""
        branch = replace(self.batch(batch_id), amount=amount, by_text=by_text)
        if not self.first("batch", batch_id):
            return replace(branch, again=True)
        lots = [self.lot_onward(lot) for lot in self.made[batch_id] if self.first("lot", lot.id)]
        runs = [self.run(run) for run in self.runs[batch_id]]
        return replace(branch, children=(*lots, *runs, *self.receivers(batch_id, None)))

    def run(self, run: RunNode, amount: str = "") -> TraceBranch:
        """Return a packing run with its receivers."""
        words = f"{run.units} units" + (f", code {run.code_printed}" if run.code_printed else "")
        return TraceBranch(
            "run", run.number, run.product, words, amount, run.packed_on, f"/trace/batch/{run.batch_id}",
            children=self.receivers(run.batch_id, run.id),
        )  # fmt: skip

    def receivers(self, batch_id: int, run_id: int | None) -> tuple[TraceBranch, ...]:
        """Return who got units."""
        return tuple(
            TraceBranch(
                "receiver",
                one.receiver,
                one.product,
                f"{one.returned} returned" if one.returned else "",
                f"{one.sent} {'unit' if one.sent == 1 else 'units'}",
                one.last_on,
                f"/trace/receiver/{one.receiver_id}" if one.receiver_id else "",
            )
            for one in self.sent[batch_id, run_id]
        )

    def batch_back(self, batch_id: int, packaging: bool = False) -> TraceBranch:
        """Return a batch with the lots it was made from, and those of its packaging."""
        branch = self.batch(batch_id)
        if not self.first("batch", batch_id):
            return replace(branch, again=True)
        lots: dict[int, list[Use]] = defaultdict(list)
        for use in self.by_batch[batch_id]:
            if use.lot_id is not None:
                lots[use.lot_id].append(use)
        children = [self.lot_back(self.found.lots[lot], *_told(uses)) for lot, uses in lots.items()]
        children += [
            TraceBranch(
                "typed", use.lot_text or "no lot noted", use.material, amount=f"{plain(use.grams)} g", by_text=True
            )
            for use in self.by_batch[batch_id]
            if use.lot_id is None
        ]
        if packaging:
            of_batch = {run.id for run in self.runs[batch_id]}
            children += [
                self.lot_back(self.found.lots[lot], f"{plain(pieces)} pieces")
                for run, lot, pieces in self.found.packaging
                if run in of_batch
            ]
        return replace(branch, children=tuple(children))

    def lot_back(self, lot: LotNode, amount: str = "", by_text: bool = False) -> TraceBranch:
        """Return a lot with the batch that made it."""
        branch = replace(self.lot(lot), amount=amount, by_text=by_text)
        if lot.from_batch_id is None:
            return branch
        return replace(branch, children=(self.batch_back(lot.from_batch_id),))


def _told(uses: list[Use]) -> tuple[str, bool]:
    """Return what went from a lot into a batch, in words, and whether only typed words say so."""
    return f"{plain(sum((use.grams for use in uses), Decimal(0)))} g", all(use.by_text for use in uses)


def trace_lot(session: Session, lot_id: int) -> Trace:
    """Return where a lot came from and went to.

    Raises:
        NotFound: when there is no such lot.
    """
    lot = get_lot(session, lot_id)
    went = onward(session, [lot_id])
    came = back(session, [lot.from_batch_id]) if lot.from_batch_id else Reach()
    source = (_Tree(came).batch_back(lot.from_batch_id),) if lot.from_batch_id else ()
    corrected = tracing.corrected_uses(session, [lot_id])
    numbers = tracing.batch_nodes(session, {use.batch_id for use, _reason in corrected})
    return Trace(
        "lot", lot_id, lot.code, lot.name, source, _Tree(went).lot_onward(went.lots[lot_id]).children, came, went,
        tuple(Corrected(use.batch_id, numbers[use.batch_id].number, plain(use.grams), why) for use, why in corrected),
    )  # fmt: skip


def trace_batch(session: Session, batch_id: int) -> Trace:
    """Return what a batch was made from and where it went.

    Raises:
        NotFound: when there is no such batch.
    """
    if session.get(Batch, batch_id) is None:
        raise NotFound("There is no such batch.")
    came, went = back(session, [batch_id]), onward(session, batches=[batch_id])
    node = came.batches[batch_id]
    whence = _Tree(came).batch_back(batch_id, packaging=True).children
    whither = _Tree(went).batch_onward(batch_id).children
    return Trace("batch", batch_id, node.number, node.product, whence, whither, came, went)


def trace_receiver(session: Session, receiver_id: int) -> Trace:
    """Return what a receiver got, and every lot it came from.

    Raises:
        NotFound: when there is no such receiver.
    """
    receiver = get_receiver(session, receiver_id)
    sent = tracing.sent_of(session, receiver_id=receiver_id)
    batches = sorted({one.batch_id for one in sent})
    came = back(session, batches)
    tree = _Tree(came)
    units: dict[int, int] = defaultdict(int)
    for one in sent:
        units[one.batch_id] += one.sent
    whence = tuple(replace(tree.batch_back(batch, packaging=True), amount=f"{units[batch]} units") for batch in batches)
    went = Reach(batches=came.batches, sent=sent)
    return Trace("receiver", receiver_id, receiver.words, receiver.kind.value, whence, (), came, went)


COLUMNS = ("direction", "level", "what", "code", "name", "detail", "amount", "date", "remark")


def lines_of(branches: tuple[TraceBranch, ...], level: int = 1) -> Iterator[tuple[int, TraceBranch]]:
    """Yield every branch of a tree with its level, in the order it is drawn."""
    for branch in branches:
        yield level, branch
        yield from lines_of(branch.children, level + 1)


def cut(branches: tuple[TraceBranch, ...], most: int) -> tuple[tuple[TraceBranch, ...], int]:
    """Return the first so many branches of a tree in the order it is drawn, and how many are left out."""
    count = sum(1 for _ in lines_of(branches))
    return _first(branches, iter(range(most))), max(0, count - most)


def _first(branches: tuple[TraceBranch, ...], places: Iterator[int]) -> tuple[TraceBranch, ...]:
    kept = []
    for branch in branches:
        if next(places, None) is None:
            break
        kept.append(replace(branch, children=_first(branch.children, places)))
    return tuple(kept)


def trace_csv(trace: Trace) -> str:
    """Return a trace as a table for a spreadsheet."""
    rows = (
        {
            "direction": direction, "level": str(level), "what": one.kind, "code": one.code, "name": one.name,
            "detail": one.detail, "amount": one.amount, "date": one.day.isoformat() if one.day else "",
            "remark": "; ".join(
                words
                for words, holds in (("by typed words only", one.by_text), ("shown above", one.again))
                if holds
            ),
        }
        for direction, branches in (("from", trace.back), ("to", trace.onward))
        for level, one in lines_of(branches)
    )  # fmt: skip
    return write_table(COLUMNS, rows, ("level",))
