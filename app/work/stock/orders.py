"""Orders to suppliers: made from what is short or by hand, and received line by line into lots and prices at once."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

from babel.numbers import list_currencies
from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from app.science.errors import Invalid
from app.science.names import inci_key
from app.store.errors import Conflict, NotFound
from app.store.material_queries import live_id_of_name
from app.store.materials import MaterialRow, PackagingRow
from app.store.stock import OrderState, Purchase, PurchaseLine
from app.store.workshop import next_in_series
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, Rows, rule
from app.work.form_fields import (
    CurrencyCode,
    DayOrToday,
    LongText,
    MaybeDay,
    MaybeMoney,
    MaybeNumber,
    Name,
    ShortText,
    TickBox,
)
from app.work.pricing import exchange_of, note_rate
from app.work.stock.lots import LotContext, ReceiveForm, StockAmount, lot_context, receive_lot
from app.work.stock.suppliers import supplier_named

MOST_LINES = 200


class OrderLineForm(Form):
    """A line of an order: what, how much, and its price."""

    filled_by = ("item", "amount")

    item = Name("Item", "Name the material or the packaging.", width="w20")
    amount = ShortText("Amount", width="w8")
    price = ShortText("Price of the line", width="w8")


class ExchangeRateField(MaybeNumber):
    """What one unit of a supplier's currency is worth in that of the workshop; empty where it was typed before."""

    def __init__(self) -> None:
        super().__init__(
            "Exchange rate",
            low=Decimal("0.000001"),
            high=10**7,
            width="w8",
            hint="What one unit is worth here, such as 0.92; empty where it is typed already.",
        )


class OrderForm(Form):
    """An order, in the currency its supplier is paid in."""

    supplier = Name("Supplier", "Name the supplier.", width="w20")
    ordered_on = DayOrToday("Ordered", hint="Leave empty for today.")
    expected_on = MaybeDay("Expected")
    currency = CurrencyCode("Currency", hint="Of its prices; leave empty for the workshop's.", width="w4")
    rate = ExchangeRateField()
    made_by = Name("By", "Enter your name or initials.", longest=80, width="w8")
    note = LongText("Note", lines=2)
    lines = Rows("Lines", OrderLineForm, "line", most=MOST_LINES, too_many="An order can have {most} lines.")

    @rule
    def has_lines(self) -> None:
        """Ask for at least one line."""
        if not self.lines:
            raise Invalid("line-0-item", "Name what is ordered.")

    @rule
    def comes_after_it_is_ordered(self) -> None:
        """Refuse a delivery before the order."""
        if self.expected_on and self.expected_on < self.ordered_on:
            raise Invalid("expected_on", "It cannot come before it is ordered.")


class _LineValues(Form):
    """The amount and price of a line, read once its item is known."""

    amount = StockAmount("Amount", "Enter the amount, such as 5 kg.")
    price = MaybeMoney("Price of the line")


def find_item(session: Session, name: str) -> MaterialRow | PackagingRow | None:
    """Return the material or packaging of a name, in any case; None when there is none."""
    material_id = live_id_of_name(session, inci_key(name))
    if material_id is not None:
        return session.get(MaterialRow, material_id)
    asked = select(PackagingRow).where(PackagingRow.retired_at.is_(None))
    return next((one for one in session.scalars(asked) if inci_key(one.name) == inci_key(name)), None)


@action(once="order")
def place_order(session: Session, typed: OrderForm, *, key: str = "") -> int:
    """Write an order and return its id; the same form sent twice makes one.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    given = lot_context(session, None)
    lines, wrong = _read_lines(session, typed, given)
    rate = _RateValues(typed.text["currency"], typed.text["rate"], typed.text["ordered_on"])
    form = typed.checked(given, also=[*wrong, *_rate_faults(session, rate, given)])
    if form.rate is not None:
        note_rate(session, form.currency, form.rate, form.ordered_on)
    supplier = supplier_named(session, form.supplier)
    assert supplier is not None  # noqa: S101 - the form asked for a name
    number = f"{form.ordered_on:%Y}-{next_in_series(session, f'order {form.ordered_on:%Y}'):03}"
    order = Purchase(
        number=number,
        supplier=supplier,
        ordered_on=form.ordered_on,
        expected_on=form.expected_on,
        note=form.note,
        made_by=form.made_by,
        currency=form.currency,
        created_at=now(),
        lines=lines,
    )
    session.add(order)
    session.flush()
    return order.id


class _RateValues(Form):
    """What decides whether a rate is needed, read beside whatever else is wrong with an order or a delivery."""

    currency = CurrencyCode("Currency")
    rate = ExchangeRateField()
    day = DayOrToday("Day")


def _rate_faults(session: Session, typed: _RateValues, given: LotContext) -> list[Invalid]:
    """Return a fault when no rate is known of another currency, or one is typed of the workshop's own.

    What cannot be read is told by the form that the values come from.
    """
    try:
        form = typed.checked(given)
    except Faults:
        return []
    exchange = exchange_of(session)
    if form.currency in ("", exchange.home):
        own = f"{exchange.home} is the workshop's own currency; leave the rate empty."
        return [] if form.rate is None else [Invalid("rate", own)]
    if form.rate is None and exchange.rate(form.currency, form.day) is None:
        asked = f"No rate of {form.currency} is typed yet. Enter what 1 {form.currency} is worth in {exchange.home}."
        return [Invalid("rate", asked)]
    return []


def _read_lines(session: Session, typed: OrderForm, given: LotContext) -> tuple[list[PurchaseLine], list[Invalid]]:
    """Return the lines that can be read, prices in the currency of the order, and what is wrong."""
    currency = typed.text["currency"].strip().upper()
    currency = currency if currency in list_currencies() else given.currency
    lines: list[PurchaseLine] = []
    wrong: list[Invalid] = []
    for row in typed.text["lines"]:
        name = row.text["item"].strip()
        if row.blank or not name:
            continue
        thing = find_item(session, name)
        if thing is None:
            wrong.append(Invalid(f"{row.at}item", f"{name[:80]} is neither on the shelf nor in the packaging."))
            continue
        values = _LineValues(amount=row.text["amount"], price=row.text["price"])
        try:
            read = values.checked(replace(lot_context(session, thing), currency=currency))
        except Faults as faults:
            wrong += [Invalid(f"{row.at}{fault.field}", fault.message) for fault in faults.faults]
            continue
        line = PurchaseLine(
            position=len(lines), amount=read.amount.grams, amount_text=read.amount.text, price=read.price
        )
        if isinstance(thing, MaterialRow):
            line.material = thing
        else:
            line.packaging = thing
        lines.append(line)
    return lines, wrong


def get_order(session: Session, order_id: int) -> Purchase:
    """Return one order with its lines.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Purchase, order_id)
    if found is None:
        raise NotFound("There is no such order.")
    return found


def all_orders(session: Session) -> list[Purchase]:
    """Return the newest 200 orders, open ones first."""
    found = session.scalars(select(Purchase).order_by(Purchase.id.desc()).limit(200))
    return sorted(found, key=lambda order: order.state is not OrderState.OPEN)


class DeliveredForm(Form):
    """What came of one line of an order; a row without a tick has not come yet."""

    filled_by = ("came",)

    came = TickBox("Came")
    line = ShortText("Line")
    amount = ShortText("Amount", width="w8")
    paid = ShortText("Paid", width="w8")
    supplier_lot = ShortText("Supplier's lot", longest=120, width="w8")
    expires_on = MaybeDay("Expiry date")


class DeliveryForm(Form):
    """A delivery of an order."""

    received_on = DayOrToday("Received", hint="Leave empty for today.")
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")
    rate = ExchangeRateField()
    accepted = TickBox("Accept the lots now: papers, containers and contents agree with the order")
    rows = Rows("Lines", DeliveredForm, "row", most=MOST_LINES, too_many="A delivery can have {most} lines.")

    @classmethod
    def of_order(cls, order: Purchase, by: str) -> "DeliveryForm":
        """Return the form of a delivery as it was ordered."""
        rows = (
            DeliveredForm("yes", str(line.id), line.amount_text, "" if line.price is None else f"{line.price:f}")
            for line in order.lines
            if line.lot_id is None
        )
        return cls(by=by, rows=tuple(rows))


@action(once="delivery of order {order_id}")
def receive_order(session: Session, order_id: int, typed: DeliveryForm, row_version: int, *, key: str = "") -> int:
    """Receive what came of an order and return how many lots it became: each with its ledger and its price, at once.

    Raises:
        Faults: with everything that is wrong, each at its field; nothing is written then.
        Conflict: when the order changed since it was read, or is not open.
        NotFound: when there is no such order.
    """
    order = get_order(session, order_id)
    if order.row_version != row_version or order.state is not OrderState.OPEN:
        raise Conflict(f"Order {order.number} was changed in the meantime.")
    came = _what_came(session, order, typed)
    delivery = typed.checked()
    if delivery.rate is not None:
        note_rate(session, order.currency, delivery.rate, delivery.received_on)
    for line, thing, form in came:
        line.lot = receive_lot(session, thing, form)
    if all(line.lot is not None for line in order.lines):
        order.state = OrderState.RECEIVED
    flag_modified(order, "note")
    return len(came)


def _what_came(
    session: Session, order: Purchase, typed: DeliveryForm
) -> list[tuple[PurchaseLine, MaterialRow | PackagingRow, ReceiveForm]]:
    rate = _RateValues(order.currency, typed.text["rate"], typed.text["received_on"])
    found = [*typed.faults(), *_rate_faults(session, rate, lot_context(session, None))]
    faults = {fault.field: fault for fault in found}
    open_lines = {str(line.id): line for line in order.lines if line.lot_id is None}
    came: list[tuple[PurchaseLine, MaterialRow | PackagingRow, ReceiveForm]] = []
    for row in typed.text["rows"]:
        line = open_lines.get(row.text["line"])
        thing = (line.material or line.packaging) if line is not None else None
        if row.blank or line is None or thing is None:
            continue
        try:
            came.append((line, thing, _lot_form(typed, row, order).checked(lot_context(session, thing))))
        except Faults as wrong:
            for fault in wrong.faults:
                field = f"{row.at}{fault.field}" if fault.field in row.fields else fault.field
                faults.setdefault(field, Invalid(field, fault.message))
    if not came and not faults:
        faults[""] = Invalid("row-0-came", "Tick what came.")
    if faults:
        raise Faults(list(faults.values()))
    return came


def _lot_form(typed: DeliveryForm, row: Any, order: Purchase) -> ReceiveForm:
    return ReceiveForm(
        supplier=order.supplier.name,
        supplier_lot=row.text["supplier_lot"],
        received_on=typed.text["received_on"],
        expires_on=row.text["expires_on"],
        amount=row.text["amount"],
        paid=row.text["paid"],
        currency=order.currency,
        accepted=typed.text["accepted"],
        by=typed.text["by"],
    )


@action()
def close_order(session: Session, order_id: int) -> str:
    """End an order: received when something of it came, cancelled when nothing did; return its number.

    Raises:
        NotFound: when there is no such order.
    """
    order = get_order(session, order_id)
    some = any(line.lot_id is not None for line in order.lines)
    order.state = OrderState.RECEIVED if some else OrderState.CANCELLED
    return order.number


def order_from_shortage(items: list[tuple[str, str, Decimal | None]], supplier: str, by: str) -> OrderForm:
    """Return the form of an order of what is short: name, amount in words, and price of each item."""
    lines = tuple(OrderLineForm(name, amount, "" if price is None else f"{price:f}") for name, amount, price in items)
    return OrderForm(supplier=supplier, made_by=by, ordered_on=today().isoformat(), lines=lines)
