"""Cases: complaints, undesirable effects and returns; what was done, deadlines, and what else is of the lots."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import case as when
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.distribution import ReceiverKind
from app.store.errors import Conflict
from app.store.products import Product
from app.store.quality import CaseFile, CaseKind, get_case
from app.store.tracing import BatchNode
from app.store.workshop import Jurisdiction, next_in_series, the_workshop
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import DayOrToday, LongText, MaybeDay, Name, OneOf, ShortText, TickBox
from app.work.tracing.closing import OutcomeForm, outcome
from app.work.tracing.duties import CaseDuty, duty_of, is_overdue
from app.work.tracing.reach import back, onward
from app.work.tracing.receivers import receiver_for
from app.work.tracing.sending import packed_under, units_sold

PAGE = 100
MOST_OTHERS = 12


class CaseForm(Form):
    """What was told: of which product and batch, what happened, whether somebody was hurt."""

    kind = OneOf("Kind", CaseKind, "Choose what it is.", default=CaseKind.COMPLAINT.value)
    code = ShortText("Batch number or code on the pack", hint="Empty when it is not known.")
    product = ShortText("Product", hint="Its name, when the batch is not known.", width="w20")
    known_on = DayOrToday("Learned of it on", hint="Deadlines run from this day. Leave empty for today.")
    happened_on = MaybeDay("Happened on")
    units = ShortText("Units", longest=9, width="w4")
    what = LongText("What happened", lines=4, hint="The facts, and no name, age or address of anybody.")
    person_hurt = TickBox("A person was hurt or felt unwell")
    is_serious = TickBox("It is serious in the sense of the law")
    receiver = ShortText("Reported by", hint="Only when you have to reach them again.", width="w20")
    contact = ShortText("How to reach them", longest=300, width="w20")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def something_happened(self) -> None:
        """Ask what happened."""
        if not self.what.strip():
            raise Invalid("what", "Enter what happened.")

    @rule
    def days_in_order(self) -> None:
        """Refuse days to come, and learning of it before it happened."""
        if self.known_on > today():
            raise Invalid("known_on", "That day has not come yet.")
        if self.happened_on and self.happened_on > self.known_on:
            raise Invalid("happened_on", "It would have happened after you learned of it; check both days.")

    @rule
    def units_whole(self) -> None:
        """Refuse units that are no whole number."""
        if self.units and not (self.units.isascii() and self.units.isdecimal() and int(self.units) > 0):
            raise Invalid("units", "Enter the units as a whole number, 1 or more.")

    @rule
    def serious_is_an_effect(self) -> None:
        """Refuse a serious complaint that says nobody was hurt."""
        if self.is_serious and self.kind is not CaseKind.EFFECT:
            raise Invalid("kind", "What is serious in the sense of the law is an undesirable effect.")


@action(once="case")
def open_case(session: Session, typed: CaseForm, *, key: str = "") -> int:
    """Write a case and return its id.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    form = typed.checked()
    try:
        product, batch = _about(session, form.code, form.product)
        receiver = receiver_for(session, form.receiver, form.contact, ReceiverKind.PERSON)
    except Invalid as fault:
        raise Faults([fault]) from fault
    stem = f"C-{form.known_on:%Y}"
    found = CaseFile(
        number=f"{stem}-{next_in_series(session, f'case {stem}'):03d}",
        kind=form.kind,
        known_on=form.known_on,
        happened_on=form.happened_on,
        product_id=product.id if product else None,
        product_name=product.name if product else "",
        batch_id=batch.id if batch else None,
        receiver_id=receiver.id if receiver else None,
        market=product.jurisdiction if product else the_workshop(session).jurisdiction,
        units=int(form.units) if form.units else None,
        what=form.what,
        person_hurt=form.person_hurt or form.kind is CaseKind.EFFECT,
        is_serious=form.is_serious,
        opened_at=now(),
        opened_by=form.by,
    )
    found.log("opened", by=form.by, at=found.opened_at, new=form.kind.value)
    session.add(found)
    session.flush()
    return found.id


def _about(session: Session, code: str, product: str) -> tuple[Product | None, Batch | None]:
    """Return the product and batch of a case; a batch that was never packed counts as well."""
    wanted = product.strip().casefold()
    if not code.strip():
        if not wanted:
            return None, None
        live = select(Product.id, Product.name).where(Product.retired_at.is_(None)).order_by(Product.name, Product.id)
        named = [row.id for row in session.execute(live) if row.name.casefold() == wanted]
        if not named:
            raise Invalid("product", f"There is no product {product.strip()}.")
        return session.get_one(Product, named[0]), None
    try:
        packed = packed_under(session, code, product)
        return packed.product, packed.batch
    except Invalid as fault:
        batch = session.scalars(select(Batch).where(Batch.number == code.strip())).first()
        if batch is None or fault.field == "product":
            raise
        return None, batch


class FollowForm(Form):
    """What was done about a case, how grave it is by now, and when it was reported."""

    actions = LongText("What was done and found", lines=4)
    person_hurt = TickBox("A person was hurt or felt unwell")
    is_serious = TickBox("It is serious in the sense of the law")
    market = OneOf("Market", Jurisdiction, "Choose the market.")
    reported_on = MaybeDay("Reported to the authority on")


class FollowedForm(FollowForm):
    """The same, signed."""

    by = Name("By", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def reported_by_now(self) -> None:
        """Refuse a report in the future."""
        if self.reported_on and self.reported_on > today():
            raise Invalid("reported_on", "That day has not come yet.")


def open_now(session: Session, case_id: int, row_version: int | None = None) -> CaseFile:
    """Return a case that is open.

    Raises:
        NotFound: when there is none.
        Conflict: when it is closed, or changed since it was read.
    """
    found = get_case(session, case_id)
    if found.closed_at is not None:
        raise Conflict(f"Case {found.number} is closed and is kept as it is.")
    if row_version is not None and found.row_version != row_version:
        raise Conflict(f"Case {found.number} was changed in the meantime.")
    return found


@action()
def follow_case(session: Session, case_id: int, typed: FollowedForm, row_version: int) -> None:
    """Write what was done about a case; its history keeps what stood there before.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed, or changed since it was read.
    """
    found, form = open_now(session, case_id, row_version), typed.checked()
    if form.is_serious and found.kind is not CaseKind.EFFECT:
        raise Faults([Invalid("is_serious", "What is serious in the sense of the law is an undesirable effect.")])
    if form.reported_on and form.reported_on < found.known_on:
        raise Faults([Invalid("reported_on", f"You learned of it on {found.known_on.isoformat()} only.")])
    before = FollowForm.of(found)
    for column, value in form.columns().items():
        if column != "by":
            setattr(found, column, value)
    for change in FollowForm.of(found).differences(before):
        found.log(change.label, by=form.by, at=now(), old=change.theirs, new=change.mine)


class EndForm(OutcomeForm):
    """How a case ended."""

    conclusion = outcome("The cause as far as known, the answer given, what is changed.")


@action()
def close_case(session: Session, case_id: int, typed: EndForm) -> None:
    """Close a case; the database refuses any change of it afterwards.

    Raises:
        Faults: with everything that is wrong, each at its field; at ``conclusion`` while a report is due.
        Conflict: when it is closed already.
    """
    found, form = open_now(session, case_id), typed.checked()
    if duty_of(found) is not None and found.reported_on is None:
        raise Faults([Invalid("conclusion", "Enter first when it was reported to the authority.")])
    found.conclusion = form.conclusion
    found.log("closed", by=form.by, at=now())
    session.flush()
    found.closed_at, found.closed_by = now(), form.by


@dataclass(frozen=True, slots=True)
class SameLot:
    """A lot of the batch of a case, how many other batches it went into, and the newest of them."""

    lot_id: int
    code: str
    name: str
    count: int
    batches: tuple[BatchNode, ...]


@dataclass(frozen=True, slots=True)
class CaseSheet:
    """A case as its page shows it: the duty to report, and the other batches of the same lots."""

    case: CaseFile
    duty: CaseDuty | None
    overdue: bool
    lots: tuple[SameLot, ...]
    others: Sequence[CaseFile]


def case_sheet(session: Session, case_id: int) -> CaseSheet:
    """Return a case with what else is of its lots and which other cases tell of them.

    Raises:
        NotFound: when there is no such case.
    """
    found = get_case(session, case_id)
    lots: tuple[SameLot, ...] = ()
    others: Sequence[CaseFile] = ()
    if found.batch_id is not None:
        lots, batches = _same_lots(session, found.batch_id)
        told = session.scalars(select(CaseFile).where(CaseFile.id != case_id, CaseFile.batch_id.is_not(None)))
        others = [one for one in told if one.batch_id in batches]
    return CaseSheet(found, duty_of(found), is_overdue(found, today()), lots, others)


def _same_lots(session: Session, batch_id: int) -> tuple[tuple[SameLot, ...], set[int]]:
    """Return the lots of a batch with the other batches each went into, and all those batches together."""
    came, found, batches = back(session, [batch_id]), [], {batch_id}
    for lot in came.lots.values():
        reached = onward(session, [lot.id]).batches
        others = sorted((one for one in reached.values() if one.id != batch_id), key=lambda one: -one.id)
        found.append(SameLot(lot.id, lot.code, lot.name, len(others), tuple(others[:MOST_OTHERS])))
        batches |= reached.keys()
    return tuple(found), batches


def list_cases(session: Session, *, skip: int = 0, most: int | None = None) -> list[CaseFile]:
    """Return cases, those still open first, then the newest first."""
    asked = select(CaseFile).order_by(CaseFile.closed_at.is_not(None), CaseFile.known_on.desc(), CaseFile.id.desc())
    return list(session.scalars(asked.offset(skip).limit(most)))


def open_cases(session: Session) -> tuple[int, int]:
    """Return how many cases are open, and of how many a report is overdue."""
    found = session.scalars(select(CaseFile).where(CaseFile.closed_at.is_(None))).all()
    return len(found), sum(is_overdue(one, today()) for one in found)


@dataclass(frozen=True, slots=True)
class CaseRate:
    """The cases of a product against the units of it that went out."""

    product_id: int
    product: str
    complaints: int
    effects: int
    serious: int
    returns: int
    units_out: int

    @property
    def per_thousand(self) -> Decimal | None:
        """Complaints and undesirable effects on a thousand units; None where none went out."""
        if self.units_out <= 0:
            return None
        return (Decimal(1000) * (self.complaints + self.effects) / self.units_out).quantize(Decimal("0.01"))


def complaints_by_units_sold(session: Session, product_id: int | None = None) -> list[CaseRate]:
    """Return the cases of each product, or of one, against the units of it that went out."""
    asked = (
        select(
            CaseFile.product_id,
            Product.name,
            func.sum(when((CaseFile.kind == CaseKind.COMPLAINT, 1), else_=0)),
            func.sum(when((CaseFile.kind == CaseKind.EFFECT, 1), else_=0)),
            func.sum(when((CaseFile.is_serious.in_((True,)), 1), else_=0)),
            func.sum(when((CaseFile.kind == CaseKind.RETURN, 1), else_=0)),
        )
        .join(Product, Product.id == CaseFile.product_id)
        .group_by(CaseFile.product_id, Product.name)
        .order_by(Product.name)
    )
    if product_id is not None:
        asked = asked.where(CaseFile.product_id == product_id)
    return [
        CaseRate(key, name, int(a), int(b), int(c), int(d), units_sold(session, key))
        for key, name, a, b, c, d in session.execute(asked)
        if key is not None
    ]
