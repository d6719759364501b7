"""What a trace reaches: from lots onward to batches, runs and receivers, and from batches back to lots."""

from collections.abc import Collection
from dataclasses import dataclass, field
from decimal import Decimal

from sqlalchemy.orm import Session

from app.store import tracing
from app.store.tracing import BatchNode, LotNode, RunNode, SentNode, Use


@dataclass(slots=True)
class Reach:
    """Everything that a trace found, each thing once.

    ``uses`` are the lots that went into batches, ``typed`` what batches were weighed from that is no lot of the shelf,
    ``packaging`` the pieces of a lot that a run used: (run, lot, pieces).
    """

    uses: dict[tuple[int, int | None], Use] = field(default_factory=dict)
    typed: list[Use] = field(default_factory=list)
    lots: dict[int, LotNode] = field(default_factory=dict)
    batches: dict[int, BatchNode] = field(default_factory=dict)
    runs: list[RunNode] = field(default_factory=list)
    packaging: list[tuple[int, int, Decimal]] = field(default_factory=list)
    sent: list[SentNode] = field(default_factory=list)

    def take(self, uses: Collection[Use]) -> None:
        """Add uses; the same weighing of the same lot counts once."""
        self.uses |= {(use.weighing_id, use.lot_id): use for use in uses}

    @property
    def units_sent(self) -> int:
        """The units that went out."""
        return sum(one.sent for one in self.sent)

    @property
    def units_returned(self) -> int:
        """The units that came back."""
        return sum(one.returned for one in self.sent)

    @property
    def receivers(self) -> int:
        """How many receivers there are that have a row of their own."""
        return len({one.receiver_id for one in self.sent if one.receiver_id is not None})


def onward(session: Session, lots: Collection[int] = (), batches: Collection[int] = ()) -> Reach:
    """Return where lots and what batches made went: batches, what those made, packing runs and receivers.

    A lot of packaging leads to the runs that used it and to what went out of them.
    """
    found = Reach(lots=tracing.lot_nodes(session, lots))
    packaging = {lot.id for lot in found.lots.values() if lot.packaging_id is not None}
    made = {lot for lot, _batch in tracing.lots_made_in(session, batches)}
    todo = (set(found.lots) - packaging) | made
    reached = set(batches)
    while todo:
        new = tracing.uses_in(session, tracing.forward_of(todo))
        fresh = tracing.lot_nodes(session, (todo | {use.lot_id for use in new if use.lot_id}) - set(found.lots))
        asked = [*fresh.values(), *(found.lots[lot] for lot in todo if lot in found.lots)]
        found.lots |= fresh
        new += tracing.typed_uses(session, asked)
        found.take(new)
        reached |= {use.batch_id for use in new}
        todo = {lot for lot, _batch in tracing.lots_made_in(session, reached)} - set(found.lots)
    found.runs = tracing.runs_of(session, reached)
    found.sent = tracing.sent_of(session, batches=reached)
    if packaging:
        # The runs that used lots of packaging, and what went out of just those runs.
        runs = tracing.runs_of(session, packaging_lots=packaging)
        found.runs += [run for run in runs if run.id not in {one.id for one in found.runs}]
        used = tracing.packaging_of(session, {run.id for run in runs})
        found.packaging = [one for one in used if one[1] in packaging]
        known = {(one.batch_id, one.run_id, one.receiver_id) for one in found.sent}
        # What went out without saying of which run may be of this one: it counts.
        ids = {run.id for run in runs}
        sent = tracing.sent_of(session, batches={run.batch_id for run in runs})
        found.sent += [
            one
            for one in sent
            if (one.run_id in ids or one.run_id is None) and (one.batch_id, one.run_id, one.receiver_id) not in known
        ]
    found.batches = tracing.batch_nodes(session, reached | {run.batch_id for run in found.runs})
    return found


def back(session: Session, batches: Collection[int]) -> Reach:
    """Return what batches came from: lots of materials through every batch that made one, and lots of packaging."""
    found = Reach()
    todo, known = set(batches), set[int]()
    while todo:
        found.take(tracing.uses_in(session, tracing.backward_of(todo)))
        found.lots |= tracing.lot_nodes(session, {lot for _, lot in found.uses if lot} - set(found.lots))
        group = (todo | _sources(found)) - known
        known |= group
        meant, found_typed = tracing.read_typed(session, tracing.typed_in(session, group))
        found.typed += found_typed
        found.take(meant)
        found.lots |= tracing.lot_nodes(session, {use.lot_id for use in meant if use.lot_id} - set(found.lots))
        todo = _sources(found) - known
    found.runs = tracing.runs_of(session, batches)
    found.packaging = tracing.packaging_of(session, {run.id for run in found.runs})
    found.lots |= tracing.lot_nodes(session, {lot for _run, lot, _pieces in found.packaging} - set(found.lots))
    found.batches = tracing.batch_nodes(session, known)
    return found


def _sources(found: Reach) -> set[int]:
    return {lot.from_batch_id for lot in found.lots.values() if lot.from_batch_id is not None}
