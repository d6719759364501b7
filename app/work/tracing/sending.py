"""Units that go out and come back: typed in, cancelled with a reason, never more than were packed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import case, func, or_, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch, BatchState
from app.store.distribution import SIGNED, STANDS, Dispatch, DispatchKind, Receiver, ReceiverKind, get_dispatch
from app.store.errors import Conflict
from app.store.packing import PackingRun, RunState
from app.store.products import Product
from app.store.quality import Recall, RecallBatch
from app.store.stock import open_recall
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Field, Form, rule
from app.work.form_fields import DayOrToday, LongText, Name, OneOf, ShortText
from app.work.packing.finished import Key, Of, count_also, units_on_hand
from app.work.tracing.receivers import receiver_for

MOST_UNITS = 10_000_000
PAGE = 100


class SentUnits(Field[int]):
    """A whole number of units, one or more."""

    control = "decimal"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return the number."""
        bare = text.strip()
        if not (bare.isascii() and bare.isdecimal()) or not 1 <= int(bare[:12]) <= MOST_UNITS:
            raise Invalid(at, "Enter the units as a whole number, 1 or more.")
        return int(bare)


class DispatchForm(Form):
    """Units that went out, or came back: of which batch, how many, when, and to whom or from whom."""

    code = Name(
        "Batch number or code on the pack", "Enter the batch number, or the code on the pack.", hint="Typed or scanned."
    )
    product = ShortText("Product", hint="Only where the batch was packed as several.", width="w20")
    kind = OneOf("Why", DispatchKind, "Choose sale, gift, sample or returned.", default=DispatchKind.SALE.value)
    units = SentUnits("Units", width="w6")
    sent_on = DayOrToday("On", hint="Leave empty for today.")
    receiver = ShortText("Receiver", hint="Empty when nobody can be reached, such as at a market stall.", width="w20")
    receiver_kind = OneOf("Person or shop", ReceiverKind, "Choose person or shop.", default=ReceiverKind.PERSON.value)
    contact = LongText(
        "How to reach them", longest=500, lines=2, hint="An e-mail address, a telephone number or an address; no more."
    )
    order_number = ShortText("Order number", longest=80, width="w8")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def not_in_the_future(self) -> None:
        """Refuse a day that has not come yet."""
        if self.sent_on > today():
            raise Invalid("sent_on", "That day has not come yet.")

    @rule
    def contact_of_somebody(self) -> None:
        """Refuse a contact without a name."""
        if self.contact and not self.receiver:
            raise Invalid("receiver", "Enter the name that this contact belongs to.")


@dataclass(frozen=True, slots=True)
class Packed:
    """What a code on a pack or a batch number stands for: a batch as a product, under the name it was
    packed with, and the packing run where it is one.
    """

    batch: Batch
    product: Product
    name: str
    run_id: int | None = None


def packed_under(session: Session, code: str, product: str = "") -> Packed:
    """Return what was packed under a code: that printed by a run, or the number of a batch.

    Raises:
        Invalid: at ``code`` or ``product``, when there is nothing of it, or several products.
    """
    bare = code.strip()
    asked = (
        select(PackingRun)
        .join(Batch, Batch.id == PackingRun.batch_id)
        .where(
            PackingRun.state == RunState.CLOSED,
            or_(Batch.number == bare, PackingRun.code_printed == bare, PackingRun.number == bare),
        )
    )
    runs = list(session.scalars(asked.order_by(PackingRun.id)))
    if not runs:
        known = session.scalar(select(Batch.id).where(Batch.number == code.strip()))
        words = (
            f"Nothing of batch {code.strip()} is packed yet; close its packing run first."
            if known
            else f"There is no batch and no packing run {code.strip()}."
        )
        raise Invalid("code", words)
    wanted = product.strip().casefold()
    products = {run.product_id: run.product for run in runs if wanted in ("", *_names(run))}
    names = ", ".join(sorted({run.product_name for run in runs}))
    if not products:
        raise Invalid("product", f"It was packed as {names}.")
    if len(products) > 1:
        raise Invalid("product", f"It was packed as several products; enter which: {names}.")
    batches = {run.batch_id: run.batch for run in runs if run.product_id in products}
    if len(batches) > 1:
        numbers = ", ".join(sorted(batch.number for batch in batches.values()))
        raise Invalid("code", f"Several batches carry this code; enter the batch number: {numbers}.")
    of_product = [run for run in runs if run.product_id in products]
    only = of_product[0].id if len(of_product) == 1 else None
    first = of_product[0]
    return Packed(first.batch, first.product, first.product_name, only)


def _names(run: PackingRun) -> tuple[str, str]:
    """Return what a run was packed as and what its product is called now."""
    return run.product_name.casefold(), run.product.name.casefold()


@action(once="dispatch")
def send_out(session: Session, typed: DispatchForm, *, key: str = "") -> int:
    """Write units that went out or came back and return the id of the dispatch.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    form = typed.checked()
    try:
        return write_dispatch(session, form).id
    except Invalid as fault:
        raise Faults([fault]) from fault


def write_dispatch(
    session: Session, form: DispatchForm, *, recall_id: int | None = None, import_id: int | None = None
) -> Dispatch:
    """Write a dispatch from a form that was checked, inside a transaction that is open.

    Raises:
        Invalid: at its field, when more would go out than was packed, come back than is out or come back from a
            receiver than it has, when the batch may not be sold, or when a contact differs from that of the receiver.
    """
    packed = packed_under(session, form.code, form.product)
    product, batch = packed.product, packed.batch
    out = units_out(session, product.id, batch.id)
    if form.kind is DispatchKind.RETURNED:
        if form.units > out:
            raise Invalid("units", f"Only {out} of batch {batch.number} are out; more cannot come back.")
    else:
        check_released(session, batch, form.kind)
        there = units_on_hand(session, product.id, batch.id)
        if form.units > there:
            words = f"{there} {'unit is' if there == 1 else 'units are'} on hand and {out} out"
            message = f"Of batch {batch.number} as {product.name} {words}; more than was packed cannot go."
            raise Invalid("units", message)
    receiver = receiver_for(session, form.receiver, form.contact, form.receiver_kind, import_id=import_id)
    if form.kind is DispatchKind.RETURNED and receiver is not None:
        held = units_with(session, receiver.id, product.id, batch.id)
        # Whoever got none of it may bring back what a shop sold on.
        if held is not None and form.units > held:
            message = (
                f"{receiver.name} has {held} of batch {batch.number}; leave the receiver empty for units that went "
                "to somebody else."
            )
            raise Invalid("units", message)
    dispatch = Dispatch(
        kind=form.kind,
        batch_id=packed.batch.id,
        product_id=packed.product.id,
        product_name=packed.name,
        run_id=packed.run_id,
        receiver=receiver,
        units=form.units,
        sent_on=form.sent_on,
        order_number=form.order_number,
        by=form.by,
        created_at=now(),
        import_id=import_id,
        recall_id=recall_id,
    )
    session.add(dispatch)
    session.flush()
    return dispatch


def check_released(session: Session, batch: Batch, kind: DispatchKind) -> None:
    """Refuse to send out what is not released, but for samples, and what is being recalled.

    Raises:
        Invalid: at ``code``.
    """
    if batch.state is not BatchState.RELEASED and kind is not DispatchKind.SAMPLE:
        raise Invalid("code", f"Batch {batch.number} is {batch.state.value}; only samples may go out before release.")
    recalled = session.scalar(open_recall(select(RecallBatch.recall_id).where(RecallBatch.batch_id == batch.id)))
    if recalled:
        raise Invalid("code", f"Batch {batch.number} is being recalled ({recalled}); nothing of it goes out.")


class CancelForm(Form):
    """Why a dispatch is cancelled."""

    why = Name("Why it is wrong", "Enter why it is wrong.", longest=300, width="w20")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


@action()
def cancel_dispatch(session: Session, dispatch_id: int, typed: CancelForm) -> None:
    """Cancel a dispatch that was typed wrongly; it stays readable and counts no more.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is cancelled already, or units of it have come back.
        NotFound: when there is no such dispatch.
    """
    dispatch, form = get_dispatch(session, dispatch_id), typed.checked()
    if dispatch.cancelled_at is not None:
        raise Conflict("This dispatch is cancelled already.")
    if dispatch.recall_id is not None and session.get_one(Recall, dispatch.recall_id).closed_at is not None:
        raise Conflict("It belongs to a recall that is closed, which is kept as it is.")
    of = (dispatch.product_id, dispatch.batch_id)
    held = units_with(session, dispatch.receiver_id, *of) if dispatch.receiver_id is not None else None
    out = units_out(session, *of)
    if min(out, out if held is None else held) - dispatch.signed_units < 0:
        raise Conflict("Units of it have come back; cancel the return first.")
    if units_on_hand(session, *of) + dispatch.signed_units < 0:
        raise Conflict("These units have gone out again since; cancel that dispatch first.")
    dispatch.cancelled_at, dispatch.cancelled_by, dispatch.cancelled_why = now(), form.by, form.why


@dataclass(frozen=True, slots=True)
class SentSearch:
    """Which dispatches are asked for; empty parts ask for nothing."""

    code: str = ""
    kind: str = ""
    since: date | None = None
    until: date | None = None


def sent_rows(session: Session, search: SentSearch, *, skip: int = 0, most: int | None = None) -> list[Dispatch]:
    """Return dispatches, newest first, cancelled ones too."""
    asked = select(Dispatch).order_by(Dispatch.sent_on.desc(), Dispatch.id.desc())
    if search.code.strip():
        of_batch = select(Batch.id).where(Batch.number == search.code.strip())
        of_run = select(PackingRun.batch_id).where(PackingRun.code_printed == search.code.strip())
        named = select(Receiver.id).where(Receiver.name == search.code.strip())
        asked = asked.where(
            or_(
                Dispatch.batch_id.in_(of_batch),
                Dispatch.batch_id.in_(of_run),
                Dispatch.receiver_id.in_(named),
                Dispatch.order_number == search.code.strip(),
            )
        )
    if search.kind in {one.value for one in DispatchKind}:
        asked = asked.where(Dispatch.kind == DispatchKind(search.kind))
    if search.since:
        asked = asked.where(Dispatch.sent_on >= search.since)
    if search.until:
        asked = asked.where(Dispatch.sent_on <= search.until)
    return list(session.scalars(asked.offset(skip).limit(most)))


def dispatches_of(session: Session, batch_id: int) -> list[Dispatch]:
    """Return the dispatches of a batch, newest first."""
    asked = select(Dispatch).where(Dispatch.batch_id == batch_id)
    return list(session.scalars(asked.order_by(Dispatch.sent_on.desc(), Dispatch.id.desc())))


def units_sold(session: Session, product_id: int) -> int:
    """Return the units of a product that went out for good: sales, gifts and samples less what came back."""
    asked = select(func.coalesce(func.sum(SIGNED), 0)).where(Dispatch.product_id == product_id, STANDS)
    return int(session.scalar(asked) or 0)


def units_out(session: Session, product_id: int, batch_id: int) -> int:
    """Return how many units of a product out of a batch are out."""
    return -sum(_sent_out(session, Of(product_id, batch_id)).values())


def units_with(session: Session, receiver_id: int, product_id: int, batch_id: int) -> int | None:
    """Return how many units of a product out of a batch a receiver has; None when it was sent none of them."""
    asked = select(func.sum(SIGNED), func.sum(case((Dispatch.kind == DispatchKind.RETURNED, 0), else_=1))).where(
        Dispatch.receiver_id == receiver_id,
        Dispatch.product_id == product_id,
        Dispatch.batch_id == batch_id,
        STANDS,
    )
    units, times = session.execute(asked).one()
    return int(units) if times else None


def _sent_out(session: Session, of: Of) -> Mapping[Key, int]:
    asked = (
        select(Dispatch.product_id, Dispatch.batch_id, func.sum(SIGNED))
        .where(STANDS)
        .group_by(Dispatch.product_id, Dispatch.batch_id)
    )
    if of.product_id is not None:
        asked = asked.where(Dispatch.product_id == of.product_id)
    if of.batch_id is not None:
        asked = asked.where(Dispatch.batch_id == of.batch_id)
    return {(product_id, batch_id): -int(units) for product_id, batch_id, units in session.execute(asked)}


count_also("sent out", _sent_out)
