"""Recalls: opened from lots or batches, the receivers told, what came back, closed with figures; and mock ones, timed.

A recall changes no batch. Its batches are those the trace finds when it is opened; batches found later are added.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.distribution import STANDS, Dispatch, DispatchKind, Receiver
from app.store.errors import Conflict, NotFound
from app.store.packing import FinishedBalance, PackingRun, RunState
from app.store.quality import NoticeWay, Recall, RecallBatch, RecallLot, RecallNotice, get_recall
from app.store.stock import Lot
from app.store.tracing import BatchNode, LotNode, SentNode, batch_nodes, lot_nodes, sent_of
from app.store.workshop import next_in_series
from app.work.action import action
from app.work.clock import now, today
from app.work.csv_text import write_table
from app.work.form import Faults, Form, rule
from app.work.form_fields import LongText, Name, OneOf, ShortText, TickBox
from app.work.tracing.closing import OutcomeForm, outcome
from app.work.tracing.reach import onward
from app.work.tracing.sending import DispatchForm, write_dispatch

MOST_CODES = 200


class RecallForm(Form):
    """Why something is recalled, from which lots or batches on, and what receivers are asked to do."""

    is_mock = TickBox("A mock recall: nobody is told, the time is kept")
    reason = LongText("Reason", lines=2, hint="What is wrong and how it was found. No names of persons.")
    codes = LongText(
        "Lots or batches",
        lines=3,
        hint="A lot code or a batch number on each line. Everything made from them is found.",
    )
    scope = ShortText("Scope", longest=300, width="w20", default="everything sold of these batches")
    to_do = LongText(
        "What receivers should do",
        lines=3,
        default="Do not use or sell these units any more. Keep them apart and tell us how many you have; "
        "we say how they come back to us.",
    )
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def with_a_reason(self) -> None:
        """Ask why."""
        if not self.reason.strip():
            raise Invalid("reason", "Enter why it is recalled.")


@dataclass(frozen=True, slots=True)
class NamedLots:
    """The lots and batches that codes name."""

    lots: tuple[int, ...]
    batches: tuple[int, ...]


def named_by(session: Session, codes: str) -> NamedLots:
    """Return the lots and batches of a list of codes, a code on each line.

    Raises:
        Invalid: at ``codes``, with every code that is neither.
    """
    wanted = list(dict.fromkeys(line.strip() for line in codes.splitlines() if line.strip()))
    if not wanted:
        raise Invalid("codes", "Enter a lot code or a batch number.")
    if len(wanted) > MOST_CODES:
        raise Invalid("codes", f"Enter at most {MOST_CODES} codes.")
    lots = dict(session.execute(select(Lot.code, Lot.id).where(Lot.code.in_(wanted))).all())
    numbers = select(Batch.number, Batch.id).where(Batch.number.in_(wanted))
    batches = dict(session.execute(numbers).all())
    strange = [code for code in wanted if code not in lots and code not in batches]
    if strange:
        raise Invalid("codes", f"There is no lot and no batch {', '.join(strange[:8])}.")
    return NamedLots(tuple(sorted(lots.values())), tuple(sorted(batches.values())))


@action(once="recall")
def open_recall(session: Session, typed: RecallForm, *, key: str = "") -> int:
    """Open a recall with every batch that its lots and batches lead to, and return its id.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    faults = typed.faults()
    named = NamedLots((), ())
    try:
        named = named_by(session, typed.text["codes"])
    except Invalid as fault:
        faults.append(fault)
    if faults:
        raise Faults(faults)
    form, moment = typed.checked(), now()
    stem = f"{'M' if form.is_mock else 'R'}-{today():%Y}"
    recall = Recall(
        number=f"{stem}-{next_in_series(session, f'recall {stem}'):03d}",
        is_mock=form.is_mock,
        reason=form.reason,
        scope=form.scope,
        to_do=form.to_do,
        opened_at=moment,
        opened_by=form.by,
        lots=[RecallLot(lot_id=lot) for lot in named.lots],
    )
    recall.log("opened", by=form.by, at=moment, new=", ".join(form.codes.split()))
    session.add(recall)
    session.flush()
    found = _add_batches(session, recall, named)
    recall.log("batches found", by=form.by, at=moment, new=str(found))
    return recall.id


def _add_batches(session: Session, recall: Recall, named: NamedLots) -> int:
    """Add what the trace finds and the recall does not have yet; return how many that was."""
    reached = onward(session, named.lots, named.batches).batches.keys() | set(named.batches)
    there = set(session.scalars(select(RecallBatch.batch_id).where(RecallBatch.recall_id == recall.id)))
    new = sorted(reached - there)
    session.add_all(
        RecallBatch(recall_id=recall.id, batch_id=batch, named=batch in set(named.batches)) for batch in new
    )
    session.flush()
    return len(new)


def open_now(session: Session, recall_id: int) -> Recall:
    """Return a recall that is open.

    Raises:
        NotFound: when there is none.
        Conflict: when it is closed.
    """
    recall = get_recall(session, recall_id)
    if recall.closed_at is not None:
        raise Conflict(f"Recall {recall.number} is closed and is kept as it is.")
    return recall


class WidenForm(Form):
    """More lots or batches of an open recall."""

    codes = LongText("More lots or batches", lines=2, hint="A lot code or a batch number on each line.")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


@action()
def widen_recall(session: Session, recall_id: int, typed: WidenForm) -> int:
    """Add lots or batches to an open recall, and whatever was made from its lots since; return how many batches came.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed.
    """
    recall, form = open_now(session, recall_id), typed.checked()
    lots, batches = {one.lot_id for one in recall.lots}, {one.batch_id for one in recall.batches if one.named}
    if form.codes.strip():
        try:
            named = named_by(session, form.codes)
        except Invalid as fault:
            raise Faults([fault]) from fault
        session.add_all(RecallLot(recall_id=recall.id, lot_id=lot) for lot in named.lots if lot not in lots)
        lots, batches = lots | set(named.lots), batches | set(named.batches)
    count = _add_batches(session, recall, NamedLots(tuple(lots), tuple(batches)))
    recall.listed_at = None
    recall.log("widened", by=form.by, at=now(), new=f"{count} batches more")
    return count


class SignForm(Form):
    """Who does it."""

    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


@action()
def list_complete(session: Session, recall_id: int, typed: SignForm) -> None:
    """Note that the list of receivers is complete; a mock recall is timed until then.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed, or complete already.
    """
    recall, form = open_now(session, recall_id), typed.checked()
    if recall.listed_at is not None:
        raise Conflict("The list is complete already.")
    recall.listed_at, recall.listed_by = now(), form.by
    recall.log("list complete", by=form.by, at=recall.listed_at, new=words_of(recall.listed_at - recall.opened_at))


class NoticeForm(Form):
    """That a receiver was told, and whether they were reached."""

    how = OneOf("How", NoticeWay, "Choose how they were told.", default=NoticeWay.MAIL.value)
    reached = TickBox("They answered")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


@action(once="notice of recall {recall_id} {receiver_id}")
def note_told(session: Session, recall_id: int, receiver_id: int, typed: NoticeForm, *, key: str = "") -> None:
    """Note that a receiver was told of a recall.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed, or a mock recall, of which nobody is told.
        NotFound: when the receiver got nothing of it.
    """
    recall, form = open_now(session, recall_id), typed.checked()
    if recall.is_mock:
        raise Conflict("This is a mock recall: nobody is told.")
    if receiver_id not in {one.receiver_id for one in receivers_of(session, recall_id)}:
        raise NotFound("This receiver got nothing of this recall.")
    notice = RecallNotice(
        recall_id=recall_id, receiver_id=receiver_id, how=form.how, reached=form.reached, at=now(), by=form.by
    )
    session.add(notice)
    told = f"receiver {receiver_id}, {form.how.value}{', reached' if form.reached else ''}"
    recall.log("told", by=form.by, at=notice.at, new=told)


@action(once="return of recall {recall_id}")
def take_back(session: Session, recall_id: int, typed: DispatchForm, *, key: str = "") -> int:
    """Write units that came back for a recall and return the id of that line.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed, or a mock recall.
    """
    recall = open_now(session, recall_id)
    if recall.is_mock:
        raise Conflict("This is a mock recall: nothing comes back for it.")
    form = typed.but(kind=DispatchKind.RETURNED.value).checked()
    try:
        line = write_dispatch(session, form, recall_id=recall_id)
        if line.batch_id not in {one.batch_id for one in recall.batches}:
            raise Invalid("code", f"Batch {line.batch.number} is not part of this recall.")
    except Invalid as fault:
        raise Faults([fault]) from fault
    recall.log("units returned", by=form.by, at=now(), new=f"{form.units} of {line.batch.number}")
    return line.id


class CloseForm(OutcomeForm):
    """How a recall ended."""

    conclusion = outcome("What the figures say, what became of the units, what is changed.")


@action()
def close_recall(session: Session, recall_id: int, typed: CloseForm) -> None:
    """Close a recall with its figures; the database refuses any change of it afterwards.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed already.
    """
    recall, form = open_now(session, recall_id), typed.checked()
    figures = figures_of(session, recall, receivers_of(session, recall.id))
    recall.units_sent, recall.units_reached = figures.sent, figures.reached
    recall.units_returned = figures.returned
    recall.conclusion = form.conclusion
    recall.log(
        "closed", by=form.by, at=now(), new=f"{figures.sent} sent, {figures.reached} reached, {figures.returned} back"
    )
    session.flush()
    recall.closed_at, recall.closed_by = now(), form.by


@dataclass(frozen=True, slots=True)
class Recipient:
    """A receiver of recalled units: what they got and gave back, and when they were told and reached."""

    receiver_id: int | None
    name: str
    kind: str
    contact: str
    batches: tuple[str, ...]
    sent: int
    returned: int
    told_at: datetime | None
    reached: bool


@dataclass(frozen=True, slots=True)
class Figures:
    """Units of a recall: sent out, at receivers who were reached, and come back for it; how many receivers there are.

    ``on_shelf`` are the units of its batches that are on hand now, with what came back.
    """

    sent: int
    reached: int
    returned: int
    receivers: int
    on_shelf: int

    @property
    def reached_percent(self) -> int | None:
        """The part of the units whose receivers were reached; None where nothing was sent."""
        return round(100 * self.reached / self.sent) if self.sent else None

    @property
    def returned_percent(self) -> int | None:
        """The part of the units that came back; None where nothing was sent."""
        return round(100 * self.returned / self.sent) if self.sent else None


@dataclass(frozen=True, slots=True)
class RecallSheet:
    """A recall as its page and its papers show it."""

    recall: Recall
    lots: tuple[LotNode, ...]
    batches: tuple[BatchNode, ...]
    recipients: tuple[Recipient, ...]
    figures: Figures
    took: str


def receivers_of(session: Session, recall_id: int) -> list[Recipient]:
    """Return who got units of a recall, those with most units first."""
    batches = session.scalars(select(RecallBatch.batch_id).where(RecallBatch.recall_id == recall_id)).all()
    by_receiver: dict[int | None, list[SentNode]] = defaultdict(list)
    for one in sent_of(session, batches=batches):
        by_receiver[one.receiver_id].append(one)
    numbers = batch_nodes(session, {one.batch_id for group in by_receiver.values() for one in group})
    listed = sorted({key for key in by_receiver if key is not None})
    known: dict[int, Receiver] = {}
    for start in range(0, len(listed), 5000):
        of_these = select(Receiver).where(Receiver.id.in_(listed[start : start + 5000]))
        known |= {one.id: one for one in session.scalars(of_these)}
    told: dict[int, tuple[datetime | None, bool]] = {}
    asked = select(RecallNotice).where(RecallNotice.recall_id == recall_id).order_by(RecallNotice.id)
    for notice in session.scalars(asked):
        reached = notice.reached or told.get(notice.receiver_id, (None, False))[1]
        told[notice.receiver_id] = (notice.at, reached)
    back = _came_back(session, recall_id)
    found = []
    for key, group in by_receiver.items():
        receiver = known.get(key or 0)
        when, reached = told.get(key or 0, (None, False))
        codes = tuple(dict.fromkeys(numbers[one.batch_id].number for one in group))
        kind, contact = (receiver.kind.value, receiver.contact) if receiver else ("", "")
        units = sum(one.sent for one in group)
        found.append(Recipient(key, group[0].receiver, kind, contact, codes, units, back.get(key, 0), when, reached))
    return sorted(found, key=lambda one: (-one.sent, one.name))


def _came_back(session: Session, recall_id: int) -> dict[int | None, int]:
    asked = (
        select(Dispatch.receiver_id, func.sum(Dispatch.units))
        .where(Dispatch.recall_id == recall_id, STANDS)
        .group_by(Dispatch.receiver_id)
    )
    return {key: int(units) for key, units in session.execute(asked)}


def figures_of(session: Session, recall: Recall, recipients: Sequence[Recipient]) -> Figures:
    """Return the units of a recall; of a closed one those that were counted then."""
    of_recall = select(RecallBatch.batch_id).where(RecallBatch.recall_id == recall.id)
    there = select(func.coalesce(func.sum(FinishedBalance.units), 0)).where(FinishedBalance.batch_id.in_(of_recall))
    on_shelf = int(session.scalar(there) or 0)
    if recall.closed_at is not None:
        kept = (recall.units_sent or 0, recall.units_reached or 0, recall.units_returned or 0)
        return Figures(*kept, len(recipients), on_shelf)
    back = sum(_came_back(session, recall.id).values())
    reached = sum(one.sent for one in recipients if one.reached)
    return Figures(sum(one.sent for one in recipients), reached, back, len(recipients), on_shelf)


def recall_sheet(session: Session, recall_id: int) -> RecallSheet:
    """Return a recall with its batches, receivers and figures.

    Raises:
        NotFound: when there is none.
    """
    asked = select(Recall).where(Recall.id == recall_id)
    recall = session.scalars(asked.options(selectinload(Recall.batches), selectinload(Recall.history))).one_or_none()
    if recall is None:
        raise NotFound("There is no such recall.")
    batches = batch_nodes(session, {one.batch_id for one in recall.batches})
    lots = lot_nodes(session, {one.lot_id for one in recall.lots})
    recipients = tuple(receivers_of(session, recall_id))
    took = words_of(recall.listed_at - recall.opened_at) if recall.listed_at else ""
    in_order = tuple(sorted(batches.values(), key=lambda one: one.id))
    return RecallSheet(
        recall, tuple(lots.values()), in_order, recipients, figures_of(session, recall, recipients), took
    )


def products_of_recall(session: Session, recall_id: int) -> list[tuple[str, tuple[str, ...]]]:
    """Return what a notice names: each product that was packed of the batches, with the codes printed on its packs."""
    asked = (
        select(PackingRun.product_name, PackingRun.code_printed, Batch.number)
        .join(Batch, Batch.id == PackingRun.batch_id)
        .join(RecallBatch, RecallBatch.batch_id == Batch.id)
        .where(RecallBatch.recall_id == recall_id, PackingRun.state != RunState.CANCELLED)
        .order_by(PackingRun.product_name, PackingRun.id)
    )
    codes: dict[str, dict[str, None]] = defaultdict(dict)
    for name, code, number in session.execute(asked):
        codes[name][code or number] = None
    return [(name, tuple(found)) for name, found in codes.items()]


def words_of(span: timedelta) -> str:
    """Return a span of time in words, to the second below an hour.

    >>> words_of(timedelta(seconds=75)), words_of(timedelta(hours=26, minutes=5))
    ('1 min 15 s', '26 h 5 min')
    """
    seconds = max(0, int(span.total_seconds()))
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60} s" if seconds >= 60 else f"{seconds} s"
    return f"{seconds // 3600} h {seconds % 3600 // 60} min"


def all_recalls(session: Session) -> list[Recall]:
    """Return every recall, newest first."""
    return list(session.scalars(select(Recall).order_by(Recall.id.desc())))


COLUMNS = ("receiver", "kind", "contact", "batches", "units_sent", "units_back", "told", "reached")


def recipients_csv(sheet: RecallSheet) -> str:
    """Return the list of receivers as a table for a spreadsheet or for mailing."""
    rows = (
        {
            "receiver": one.name, "kind": one.kind, "contact": one.contact, "batches": ", ".join(one.batches),
            "units_sent": str(one.sent), "units_back": str(one.returned),
            "told": one.told_at.date().isoformat() if one.told_at else "", "reached": "yes" if one.reached else "",
        }
        for one in sheet.recipients
    )  # fmt: skip
    return write_table(COLUMNS, rows, ("units_sent", "units_back"))
