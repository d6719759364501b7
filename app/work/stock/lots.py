"""What a person does with a lot: receive it, accept or refuse it, correct its particulars, count it, take from it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams
from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.material_queries import get_material
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.stock import Lot, LotState, MoveKind, Supplier, get_lot
from app.store.workshop import next_in_series, the_workshop
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Field, Form, rule
from app.work.form_fields import (
    CurrencyCode,
    DayOrToday,
    LongText,
    MaybeDay,
    MaybeMoney,
    Name,
    OneOf,
    ShortText,
    TickBox,
)
from app.work.materials.prices import PricedAmount
from app.work.stock.ledger import count_lot, move, take
from app.work.stock.suppliers import supplier_named
from app.work.typed_text import one_line

MOST_PIECES = Decimal(10) ** 8
# Six decimals of a gram are kept; the largest that fits whole millionths in the database's integers.
MOST_GRAMS = Decimal(10) ** 12


@dataclass(frozen=True, slots=True)
class LotContext:
    """What the form of a lot needs besides its text: whether it is counted in pieces, the density, the money."""

    pieces: bool
    density_g_ml: Decimal | None
    currency: str
    locale: str = "en"


class StockAmount(Field[PricedAmount]):
    """An amount of a lot: a weight or a volume in any unit, or pieces for packaging; the words are kept beside it."""

    control = "decimal"

    def __init__(self, label: str, asked: str, *, zero: bool = False, **more: Any) -> None:
        super().__init__(label, **{"width": "w8", **more})
        self.asked, self.zero = asked, zero

    def read(self, text: str, at: str, form: Form) -> PricedAmount:
        """Return the amount in grams or pieces."""
        if not text.strip():
            raise Invalid(at, self.asked)
        words, given = one_line(text, at), form.given
        if given.pieces:
            bare = words.removesuffix("pieces").removesuffix("pcs").strip()
            amount = parse_number(bare, at, low=Decimal(0), high=MOST_PIECES)
            words = f"{plain(amount)} pieces"
        else:
            amount = to_grams(parse_quantity(words, at, default_unit="g"), given.density_g_ml, at)
            words = words if any(sign.isalpha() for sign in words) else f"{words} g"
        if amount > MOST_GRAMS or amount < 0 or (amount == 0 and not self.zero):
            raise Invalid(at, "Enter an amount above 0." if amount <= 0 else "That is more than a store can hold.")
        return PricedAmount(words, amount)

    def stored(self, row: Any) -> str:
        """Return the amount in the words it was received in."""
        return str(row.amount_text)

    def columns(self, value: PricedAmount) -> dict[str, object]:
        """Return the words; the amount itself is a line of the ledger."""
        return {"amount_text": value.text}


class SupplierName(ShortText):
    """A supplier by name; one that is not known yet is made."""

    def stored(self, row: Any) -> str:
        """Return the name."""
        return row.supplier.name if row.supplier else ""

    def columns(self, value: str) -> dict[str, object]:
        """Return nothing: who stores the lot finds the supplier."""
        return {}


class LotForm(Form):
    """The particulars of a lot that may be corrected."""

    code = ShortText("Our lot code", longest=60, hint="Leave empty for the next one.")
    supplier = SupplierName("Supplier")
    supplier_lot = ShortText("Supplier's lot", longest=120)
    received_on = DayOrToday("Received", hint="Leave empty for today.")
    expires_on = MaybeDay("Expiry date")
    retest_on = MaybeDay("Re-test by")
    opened_on = MaybeDay("Opened")
    place = ShortText("Place", longest=120, hint="Shelf, box, cold store.")
    notes = LongText("Notes", lines=2)

    @rule
    def dates_in_order(self) -> None:
        """Refuse an expiry before the day it came."""
        if self.expires_on and self.expires_on < self.received_on:
            raise Invalid("expires_on", "It would have expired before it was received; check both dates.")


class ReceiveForm(LotForm):
    """A delivery: the particulars of the lot, how much came, what was paid, and whether it may be used at once."""

    amount = StockAmount("Amount received", "Enter the amount received, such as 1 kg.")
    paid = MaybeMoney("Paid", width="w8", hint="For all of it; becomes a price.")
    currency = CurrencyCode("Currency", hint="Leave empty for the workshop's.", width="w4")
    accepted = TickBox("Accept it now: papers, container and contents agree")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


def lot_context(session: Session, thing: MaterialRow | PackagingRow | None) -> LotContext:
    """Return what the form of a lot of this material or packaging is read with."""
    shop = the_workshop(session)
    density = thing.density_g_ml if isinstance(thing, MaterialRow) else None
    return LotContext(isinstance(thing, PackagingRow), density, shop.currency, shop.locale)


def next_code(session: Session, day: date) -> str:
    """Return the next lot code of a day: year, day of the year and a count, such as ``26-329-1``."""
    stem = f"{day:%y}-{day:%j}"
    while True:
        code = f"{stem}-{next_in_series(session, f'lot {stem}')}"
        if session.scalar(select(Lot.id).where(Lot.code == code)) is None:
            return code


def material_or_packaging(
    session: Session, material_id: int | None, packaging_id: int | None
) -> MaterialRow | PackagingRow:
    """Return what a lot is of.

    Raises:
        NotFound: when there is none.
    """
    if material_id is not None:
        return get_material(session, material_id)
    found = session.get(PackagingRow, packaging_id) if packaging_id is not None else None
    if found is None:
        raise NotFound("There is no such packaging.")
    return found


@action(once="lot of {material_id} {packaging_id}")
def receive(
    session: Session,
    typed: ReceiveForm,
    *,
    material_id: int | None = None,
    packaging_id: int | None = None,
    key: str = "",
) -> int:
    """Receive a delivery: the lot, its first line in the ledger and the price that was paid; return the lot's id.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material or packaging.
    """
    thing = material_or_packaging(session, material_id, packaging_id)
    return receive_lot(session, thing, typed.checked(lot_context(session, thing))).id


def receive_lot(session: Session, thing: MaterialRow | PackagingRow, form: ReceiveForm) -> Lot:
    """Write a lot that was received from a form that was checked, inside a transaction that is open.

    Raises:
        Faults: when the code is taken.
    """
    supplier = supplier_named(session, form.supplier)
    lot = _new_lot(session, form, supplier)
    if isinstance(thing, MaterialRow):
        lot.material = thing
    else:
        lot.packaging = thing
    lot.paid, lot.currency = form.paid, form.currency if form.paid is not None else ""
    lot.log("received", by=form.by, at=now(), new=form.amount.text)
    session.add(lot)
    session.flush()
    if form.accepted:
        lot.decide(LotState.ACCEPTED, by=form.by, at=now(), why="accepted on receipt")
    move(session, lot, MoveKind.RECEIVED, form.amount.grams, by=form.by)
    if form.paid is not None:
        thing.prices.append(
            PriceRow(
                kind=PriceKind.PAID,
                amount=form.paid,
                currency=form.currency,
                quantity_text=form.amount.text,
                quantity_g=form.amount.grams,
                priced_on=form.received_on,
                supplier=supplier.name if supplier else "",
                note=f"lot {form.code}" if form.code else "",
                noted_at=now(),
            )
        )
    return lot


def _new_lot(session: Session, form: LotForm, supplier: Supplier | None) -> Lot:
    values: dict[str, Any] = form.columns()
    values.pop("by", None)
    values.pop("paid", None)
    values.pop("accepted", None)
    values.pop("currency", None)
    values["code"] = _free_code(session, form)
    return Lot(**values, supplier=supplier, created_at=now())


def _free_code(session: Session, form: LotForm, apart_from: int | None = None) -> str:
    if not form.code:
        return next_code(session, form.received_on)
    if session.scalar(select(Lot.id).where(Lot.code == form.code, Lot.id != (apart_from or 0))) is not None:
        raise Faults([Invalid("code", f"There is a lot {form.code} already; give this one another code.")])
    return form.code


@action()
def revise_lot(session: Session, lot_id: int, typed: LotForm, row_version: int, *, by: str = "") -> None:
    """Correct the particulars of a lot; its history keeps what stood there before.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such lot.
    """
    lot = get_lot(session, lot_id)
    form = typed.checked()
    before = LotForm.of(lot)
    typed.refuse_overtaken(before, row_version, f"Lot {lot.code} was changed in the meantime.", now=lot.row_version)
    values = form.columns()
    values["code"] = _free_code(session, form, lot_id) if form.code != lot.code else lot.code
    for column, value in values.items():
        setattr(lot, column, value)
    lot.supplier = supplier_named(session, form.supplier)
    for change in LotForm.of(lot).differences(before):
        lot.log(change.label, by=by, at=now(), old=change.theirs, new=change.mine)


class DecisionForm(Form):
    """Accepting or refusing a lot."""

    state = OneOf("Decision", LotState, "Choose accepted or rejected.", shown={one: one.shown for one in LotState})
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")
    why = ShortText(
        "Basis", longest=500, hint="Certificate, own test, agreed specification; or why it is rejected.", width="w20"
    )

    @rule
    def refused_with_a_reason(self) -> None:
        """Ask why a lot is refused or put back."""
        if self.state is not LotState.ACCEPTED and not self.why:
            raise Invalid("why", f"Enter why it is {self.state.shown}.")


@action()
def decide_lot(session: Session, lot_id: int, typed: DecisionForm) -> None:
    """Accept or reject a lot, or put it back into quarantine.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such lot.
    """
    lot, form = get_lot(session, lot_id), typed.checked()
    lot.decide(form.state, by=form.by, at=now(), why=form.why)


class MoveForm(Form):
    """What left a lot, or came back to it."""

    kind = OneOf("What happened", MoveKind, "Choose what happened.", default=MoveKind.USED.value)
    amount = StockAmount("Amount", "Enter the amount, such as 250 g.")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")
    why = ShortText("Why", longest=500, width="w20")


BY_HAND = (MoveKind.USED, MoveKind.RETURNED, MoveKind.SPILLED, MoveKind.DISCARDED)


@action(once="move of lot {lot_id}")
def move_by_hand(session: Session, lot_id: int, typed: MoveForm, *, key: str = "") -> None:
    """Take from a lot, or put something back, outside a batch.

    Raises:
        Faults, Invalid: with what is wrong, at its field.
        NotFound: when there is no such lot.
    """
    lot = get_lot(session, lot_id)
    form = typed.checked(lot_context(session, lot.material or lot.packaging))
    if form.kind not in BY_HAND:
        raise Faults([Invalid("kind", "Choose what happened.")])
    try:
        if form.kind is MoveKind.RETURNED:
            move(session, lot, form.kind, form.amount.grams, by=form.by, why=form.why)
        else:
            take(session, lot, form.amount.grams, form.kind, by=form.by, why=form.why)
    except Invalid as fault:
        raise Faults([fault]) from fault


class CountForm(Form):
    """What a count of one lot found."""

    amount = StockAmount("Counted", "Enter what is there, such as 480 g; 0 when it is empty.", zero=True)
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")
    why = ShortText("Reason for the difference", longest=500, width="w20")


@action(once="count of lot {lot_id}")
def count_by_hand(session: Session, lot_id: int, typed: CountForm, *, key: str = "") -> str:
    """Write what a count found and return the difference in words.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such lot.
    """
    lot = get_lot(session, lot_id)
    form = typed.checked(lot_context(session, lot.material or lot.packaging))
    difference = count_lot(session, lot, form.amount.grams, by=form.by, why=form.why)
    return f"{'+' if difference > 0 else ''}{plain(difference)} {lot.unit}"


class OutputForm(LotForm):
    """What a batch made: bulk, a stock solution, a pre-mix."""

    amount = StockAmount("Amount made", "Enter the amount, such as 980 g.")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")


@action(once="output of batch {batch_id}")
def receive_output(
    session: Session, batch_id: int, typed: OutputForm, *, material_id: int | None = None, key: str = ""
) -> int:
    """Keep what a batch made as a lot, as a material of the shelf when it is one, and return the lot's id.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such batch or material.
    """
    batch = session.get(Batch, batch_id)
    if batch is None:
        raise NotFound("There is no such batch.")
    material = get_material(session, material_id) if material_id is not None else None
    form = typed.checked(lot_context(session, material))
    lot = _new_lot(session, form, None)
    lot.material, lot.from_batch = material, batch
    lot.log("made", by=form.by, at=now(), new=form.amount.text)
    session.add(lot)
    session.flush()
    move(session, lot, MoveKind.MADE, form.amount.grams, by=form.by)
    return lot.id


def lots_from(session: Session, batch_id: int) -> list[Lot]:
    """Return the lots that a batch made."""
    return list(session.scalars(select(Lot).where(Lot.from_batch_id == batch_id).order_by(Lot.id)))


def house_lot(session: Session, material: MaterialRow, *, by: str, day: date | None = None) -> Lot:
    """Return a day's lot of a material that is drawn here, such as the water of the house, made at its first use.

    Its lot is not weighed in: what is taken from it is received first. Without a day it is today's.
    """
    day = day or today()
    code = f"{material.name} {day.isoformat()}"
    found = session.scalar(select(Lot).where(Lot.material_id == material.id, Lot.code == code))
    if found is None:
        found = Lot(code=code, material=material, received_on=day, created_at=now())
        found.log("drawn here", by=by, at=now())
        session.add(found)
        session.flush()
        found.decide(LotState.ACCEPTED, by=by, at=now(), why="drawn here")
        session.flush()
    return found
