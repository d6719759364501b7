"""What to buy, ordered and received: each amount worked out by hand, and nothing is received twice or by halves."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select

from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.materials import MaterialRow
from app.store.products import ExchangeRate
from app.store.stock import Lot, LotState, OrderState, Purchase
from app.work.equipment import PACKAGING, PackagingForm
from app.work.form import Faults
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price
from app.work.materials.shelf import add_material
from app.work.pricing import exchange_of, price_book
from app.work.stock.listing import stock_rows
from app.work.stock.lots import DecisionForm, ReceiveForm, decide_lot, receive
from app.work.stock.orders import (
    DeliveryForm,
    OrderForm,
    OrderLineForm,
    all_orders,
    close_order,
    get_order,
    order_from_shortage,
    place_order,
    receive_order,
)
from app.work.stock.shopping import ToBuy, to_buy
from app.work.stock.suppliers import SUPPLIERS, SupplierForm, supplier_named

D = Decimal


def add_oil(store: Store, reorder: str = "2 kg") -> int:
    parts = (PartForm("Helianthus Annuus Seed Oil"),)
    return add_material(store, MaterialForm("Sunflower oil", density="0.92", reorder=reorder, parts=parts))


def short(store: Store) -> dict[str, ToBuy]:
    with store.reading() as session:
        return {one.row.name: one for one in to_buy(session)}


def order(store: Store, *lines: tuple[str, ...], **texts: str) -> int:
    rows = tuple(OrderLineForm(*line) for line in lines)
    return place_order(store, OrderForm(**{"supplier": "Quay Oils", "made_by": "Ines", **texts}, lines=rows))


def load(store: Store, order_id: int) -> Purchase:
    with store.reading() as session:
        return get_order(session, order_id)


def deliver(store: Store, order_id: int, *came: int, **texts: str) -> int:
    """Receive some lines of an order as they were ordered, by their places among the open ones."""
    form = DeliveryForm.of_order(found := load(store, order_id), "Per")
    rows = [row if n in came else row.but(came="") for n, row in enumerate(form.text["rows"])]
    return receive_order(store, order_id, form.but(rows=tuple(rows), **texts), found.row_version)


def test_what_is_short_is_what_is_needed_and_kept_less_what_is_there_and_on_its_way(store: Store, gel: Any) -> None:
    """The batch of 500 g needs 15 g of glycerin; 8 g are usable, 2 g in quarantine, so that 5 g are short."""
    glycerin = gel.materials["glycerin"]
    assert short(store)["Glycerin, vegetable"].short == 15
    for amount, accepted in (("8 g", "yes"), ("2 g", ""), ("100 g", "")):
        receive(store, ReceiveForm(amount=amount, by="I", accepted=accepted), material_id=glycerin)
    with store.reading() as session:
        lots = session.scalars(select(Lot).order_by(Lot.id)).all()
    decide_lot(store, lots[2].id, DecisionForm(state=LotState.REFUSED.value, by="I", why="smells"))
    found = short(store)["Glycerin, vegetable"]
    row = found.row
    assert (found.short, row.reserved, row.usable, row.held, row.spent, row.lots) == (5, 15, 8, 2, 100, 3)
    assert (row.free, row.is_low, found.on_order, found.packs, found.amount, found.cost) == (-7, True, 0, None, 5, None)
    first = order(store, ("glycerin, vegetable", "4 g", "2.50"))
    assert (short(store)["Glycerin, vegetable"].short, short(store)["Glycerin, vegetable"].on_order) == (1, 4)
    order(store, ("Glycerin, vegetable", "1 g"))
    assert "Glycerin, vegetable" not in short(store)
    close_order(store, first)
    assert short(store)["Glycerin, vegetable"].short == 4


def test_packs_cover_what_is_short_at_the_last_price_by_the_rate_of_its_day(store: Store) -> None:
    """2 kg in packs of 750 g are 3 packs; 7.50 USD at 0.80 are 6.00, so that they cost 18.00."""
    oil = add_oil(store)
    PACKAGING.add(store, PackagingForm("Jar", "48", "52.80", "Pot House", "97"))
    SUPPLIERS.add(store, SupplierForm("quay oils", delivery_days="4"))
    with store.transaction() as session:
        session.add(ExchangeRate(currency="USD", rate=D("0.80"), noted_on=date(2026, 1, 1)))
    add_price(store, oil, PriceForm("9", "1 kg", "2026-01-04", "Old Oils"))
    add_price(store, oil, PriceForm("7.50", "750 g", "2026-01-05", "Quay Oils", currency="USD"))
    found = short(store)
    oils, jars = found["Sunflower oil"], found["Jar"]
    assert (oils.pack, oils.pack_text, oils.packs, oils.amount) == (750, "750 g", 3, 2250)
    assert (oils.pack_price, oils.cost, oils.supplier, oils.delivery_days) == (6, 18, "Quay Oils", 4)
    assert (jars.pack, jars.pack_text, jars.packs, jars.amount) == (48, "48 pieces", 3, 144)
    assert (jars.pack_price, jars.cost, jars.supplier, jars.delivery_days) == (D("52.8"), D("158.4"), "Pot House", None)
    assert list(found) == ["Jar", "Sunflower oil"]  # by supplier
    with store.transaction() as session:
        session.get_one(MaterialRow, oil).reorder_g = D(2250)
    assert short(store)["Sunflower oil"].packs == 3
    with store.transaction() as session:
        session.get_one(MaterialRow, oil).reorder_g = D("2250.1")
    assert short(store)["Sunflower oil"].packs == 4


def test_who_delivered_last_is_asked_where_no_price_names_a_supplier(store: Store) -> None:
    oil = add_oil(store)
    assert short(store)["Sunflower oil"].supplier == ""
    for day, supplier in (("2026-03-01", "Late Oils"), ("2026-02-01", "Early Oils")):
        receive(store, ReceiveForm(amount="1 g", by="I", received_on=day, supplier=supplier), material_id=oil)
    assert short(store)["Sunflower oil"].supplier == "Late Oils"


def test_an_order_keeps_its_lines_and_is_numbered_through_its_year(store: Store) -> None:
    oil = add_oil(store)
    PACKAGING.add(store, PackagingForm("Jar", "48", "52.80"))
    texts = {"ordered_on": "2026-11-20", "expected_on": "2026-11-27", "note": "by boat"}
    first = order(store, ("sunflower OIL", "5 L", "20"), ("", ""), ("jar", "96", ""), **texts)
    second = order(store, ("Jar", "1"), ordered_on="2026-12-01")
    other_year = order(store, ("Jar", "1"), ordered_on="2027-01-01")
    found = load(store, first)
    assert [load(store, one).number for one in (first, second, other_year)] == ["2026-001", "2026-002", "2027-001"]
    assert (found.made_by, found.note, found.supplier.name, found.expected_on) == (
        "Ines", "by boat", "Quay Oils", date(2026, 11, 27),
    )  # fmt: skip
    assert [
        (one.position, one.material_id, one.packaging_id, one.amount, one.amount_text, one.price) for one in found.lines
    ] == [
        (0, oil, None, 4600, "5 L", 20),
        (1, None, 1, 96, "96 pieces", None),
    ]
    with store.reading() as session:
        close_order(store, second)
        assert [one.number for one in all_orders(session)] == ["2027-001", "2026-001", "2026-002"]


def test_everything_wrong_with_an_order_stands_at_its_line(store: Store) -> None:
    add_oil(store)
    PACKAGING.add(store, PackagingForm("Jar", "48"))
    with pytest.raises(Faults) as wrong:
        order(
            store,
            ("Moon dust", "1 kg"),
            ("Jar", "1 kg"),
            ("Sunflower oil", ""),
            ("Sunflower oil", "1 kg", "x"),
            ("", "2"),
        )
    assert list(wrong.value.by_field) == [
        "line-4-item",
        "line-0-item",
        "line-1-amount",
        "line-2-amount",
        "line-3-price",
    ]
    with store.reading() as session:
        assert all_orders(session) == []


def test_what_came_of_an_order_becomes_lots_and_the_rest_stays_open(store: Store) -> None:
    oil = add_oil(store)
    PACKAGING.add(store, PackagingForm("Jar", "48"))
    placed = order(store, ("Sunflower oil", "1 kg", "9"), ("Jar", "96", "40"), ("Sunflower oil", "2 kg", ""))
    with pytest.raises(Faults) as wrong:
        deliver(store, placed)
    assert list(wrong.value.by_field) == ["row-0-came"]
    assert deliver(store, placed, 0, 1, accepted="yes", received_on="2026-11-25") == 2
    found = load(store, placed)
    oils, jars = found.lines[0].lot, found.lines[1].lot
    assert oils
    assert jars
    assert (oils.material_id, oils.on_hand, oils.paid, oils.state) == (oil, 1000, 9, LotState.ACCEPTED)
    assert (jars.packaging_id, jars.on_hand, jars.paid, jars.received_on) == (1, 96, 40, date(2026, 11, 25))
    assert oils.supplier
    assert (oils.supplier.name, found.lines[2].lot, found.state) == ("Quay Oils", None, OrderState.OPEN)
    with pytest.raises(Conflict):
        receive_order(store, placed, DeliveryForm.of_order(found, "Per"), found.row_version - 1)
    assert deliver(store, placed, 0) == 1
    done = load(store, placed)
    assert (done.state, done.lines[2].lot and done.lines[2].lot.state) == (OrderState.RECEIVED, LotState.QUARANTINE)
    with pytest.raises(Conflict):
        receive_order(store, placed, DeliveryForm.of_order(done, "Per"), done.row_version)


def test_an_order_that_ends_is_received_when_anything_came_and_cancelled_when_not(store: Store) -> None:
    add_oil(store)
    some, none = (order(store, ("Sunflower oil", "1 kg"), ("Sunflower oil", "2 kg")) for _ in "ab")
    deliver(store, some, 1)
    assert (close_order(store, some), close_order(store, none)) == (load(store, some).number, load(store, none).number)
    assert (load(store, some).state, load(store, none).state) == (OrderState.RECEIVED, OrderState.CANCELLED)
    with pytest.raises(NotFound):
        close_order(store, 99)


def test_a_supplier_is_found_in_any_case_and_made_once(store: Store) -> None:
    with store.transaction() as session:
        made = supplier_named(session, " Quay  Oils ")
        assert made is supplier_named(session, "QUAY oils")
        assert (made and made.name, supplier_named(session, " ")) == ("Quay Oils", None)


def test_the_order_of_what_is_short_is_filled_in() -> None:
    form = order_from_shortage([("Oil", "2250 g", D("22.50")), ("Jar", "96", None)], "Quay Oils", "Ines")
    assert [tuple(row.text.values()) for row in form.text["lines"]] == [("Oil", "2250 g", "22.50"), ("Jar", "96", "")]
    assert (form.supplier, form.made_by) == ("Quay Oils", "Ines")


def test_a_stock_row_is_low_below_what_is_to_be_kept_and_not_at_it(store: Store) -> None:
    oil = add_oil(store, "1 kg")
    receive(store, ReceiveForm(amount="1 kg", by="I", accepted="yes", expires_on="2099-01-01"), material_id=oil)
    with store.reading() as session:
        (row,) = [one for one in stock_rows(session) if one.name == "Sunflower oil"]
    assert (row.unit, row.usable, row.reorder, row.free, row.is_low) == ("g", 1000, 1000, 1000, False)
    assert row.first_due == date(2099, 1, 1)
    assert short(store) == {}
    row.reserved = D("0.1")
    assert row.is_low
    row.drawn_here = True
    assert not row.is_low


def test_an_order_in_the_currency_of_its_supplier_is_received_and_costed_by_the_rate_that_was_typed(
    store: Store,
) -> None:
    """500 USD for 10 kg, by 0.90 EUR when it was ordered and 0.80 when it came: 0.04 EUR a gram."""
    item = add_oil(store)
    with pytest.raises(Faults) as wrong:
        order(store, ("Sunflower oil", "10 kg", "500"), currency="usd")
    assert set(wrong.value.by_field) == {"rate"}
    with pytest.raises(Faults) as wrong:
        order(store, ("Sunflower oil", "10 kg", "500"), currency="EUR", rate="1.1")
    assert set(wrong.value.by_field) == {"rate"}
    with pytest.raises(Faults) as wrong:
        order(store, ("Nothing", "10 kg", "500"), currency="dollars")
    assert set(wrong.value.by_field) == {"currency", "line-0-item"}
    placed = order(store, ("Sunflower oil", "10 kg", "500.00"), currency="usd", rate="0.90", ordered_on="2026-10-01")
    assert (load(store, placed).currency, load(store, placed).lines[0].price) == ("USD", D(500))
    assert deliver(store, placed, 0, rate="0.80", received_on="2026-10-20", accepted="yes") == 1
    with store.reading() as session:
        lot = session.scalars(select(Lot).where(Lot.material_id == item)).one()
        assert (lot.paid, lot.currency) == (D(500), "USD")
        (price,) = price_book(session).of_material(session.get_one(MaterialRow, item))
        assert price.per_g == D("0.04")
        assert exchange_of(session).rate("USD", date(2026, 10, 5)) == D("0.90")
    # Ordered again the rate is known; the one typed last holds.
    assert load(store, order(store, ("Sunflower oil", "1 kg", "50"), currency="USD")).currency == "USD"


def test_a_missing_rate_is_told_with_everything_else_that_is_wrong(store: Store) -> None:
    add_oil(store)
    with pytest.raises(Faults) as wrong:
        order(store, ("Moon dust", "1 kg"), currency="USD", made_by="", expected_on="soon")
    assert set(wrong.value.by_field) == {"expected_on", "rate", "made_by", "line-0-item"}
    placed = order(store, ("Sunflower oil", "1 kg", "50"))
    with pytest.raises(Faults) as wrong:
        deliver(store, placed, 0, by="", rate="0.9")
    assert set(wrong.value.by_field) == {"by", "rate"}
