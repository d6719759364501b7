"""What a material or packaging is reckoned with: by the rates of their days, and by the workshop's choice."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.science.formula import Price
from app.science.formula_cost import price_for
from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.products import ExchangeRate
from app.store.workshop import CostBy, the_workshop
from app.work.equipment import PACKAGING, PackagingForm
from app.work.form import Faults
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price, remove_price, revise_price
from app.work.materials.shelf import add_material
from app.work.pricing import Exchange, PriceBook, pack_price, price_book
from app.work.stock.lots import CountForm, ReceiveForm, count_by_hand, receive

D = Decimal
RATES = ((date(2026, 3, 1), D("0.90")), (date(2026, 9, 1), D("0.85")))


def price(amount: str, quantity: str, day: str, kind: str = "paid", currency: str = "") -> PriceForm:
    return PriceForm(amount=amount, quantity=quantity, priced_on=day, kind=kind, currency=currency)


@pytest.fixture
def oil(store: Store) -> int:
    found = add_material(store, MaterialForm("Sunflower oil", density="0.92", parts=(PartForm("Sunflower Oil"),)))
    add_price(store, found, price("100", "25 kg", "2026-01-10"))
    add_price(store, found, price("12", "100 g", "2026-10-01"))
    add_price(store, found, price("5", "1 kg", "2026-06-01", "offered"))
    return found


def chosen(store: Store, thing: int, cost_by: CostBy, *, packaging: bool = False) -> tuple[Price, ...]:
    with store.transaction() as session:
        the_workshop(session).cost_by = cost_by
    with store.reading() as session:
        book = price_book(session)
        if packaging:
            return book.of_packaging(session.get_one(PackagingRow, thing))
        return book.of_material(session.get_one(MaterialRow, thing))


@pytest.mark.parametrize(
    ("day", "rate"),
    [
        ("2026-03-01", "0.90"),
        ("2026-08-31", "0.90"),
        ("2026-09-01", "0.85"),
        ("2027-01-01", "0.85"),
        ("2025-01-01", "0.90"),
    ],
)
def test_a_rate_holds_from_the_day_it_was_typed(day: str, rate: str) -> None:
    exchange = Exchange("EUR", {"USD": RATES})
    assert exchange.rate("USD", date.fromisoformat(day)) == D(rate)
    assert (exchange.rate("EUR", date(2026, 1, 1)), exchange.rate("GBP", date(2026, 1, 1))) == (1, None)


def test_the_workshop_chooses_what_a_material_costs(store: Store, oil: int) -> None:
    assert [one.per_g for one in chosen(store, oil, CostBy.LAST)] == [D("0.12")]
    best = chosen(store, oil, CostBy.BEST)
    assert len(best) == 3
    found = price_for(best, D(1000))
    assert found is not None
    assert found.per_g == D("0.004")
    # Nothing that was paid for is on hand, so the last purchase counts.
    assert chosen(store, oil, CostBy.AVERAGE) == (best[0],)
    first = receive(store, ReceiveForm(amount="1 kg", paid="10", by="I", accepted="yes"), material_id=oil)
    receive(store, ReceiveForm(amount="2 kg", paid="26", by="I", accepted="yes"), material_id=oil)
    count_by_hand(store, first, CountForm(amount="500 g", by="I"))
    (average,) = chosen(store, oil, CostBy.AVERAGE)
    assert (average.quantity_g, average.amount) == (2500, 31)  # 0.5 x 10 and the whole of 26


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(small=st.integers(0, 10**6), more=st.integers(0, 10**6), cost_by=st.sampled_from(list(CostBy)))
def test_no_gram_is_dearer_because_more_is_bought(
    store: Store, oil: int, small: int, more: int, cost_by: CostBy
) -> None:
    prices = chosen(store, oil, cost_by)
    one, many = price_for(prices, D(small)), price_for(prices, D(small + more))
    assert one is not None
    assert many is not None
    assert many.per_g <= one.per_g


def test_packaging_has_dated_prices_by_amount_in_their_currencies(store: Store) -> None:
    PACKAGING.add(store, PackagingForm("Jar", "48", "52.80"))
    add_price(store, 1, price("40", "100", "2026-10-01", "offered", "usd"), packaging=True)
    with store.reading() as session:
        dollars = session.scalars(select(PackagingRow)).one().prices[-1]
        assert (dollars.currency, dollars.quantity_text, dollars.quantity_g) == ("USD", "100 pieces", 100)
    assert len(chosen(store, 1, CostBy.BEST, packaging=True)) == 1  # no rate is typed yet
    with store.transaction() as session:
        session.add(ExchangeRate(currency="USD", rate=D("0.9"), noted_on=date(2026, 9, 1)))
    found = price_for(chosen(store, 1, CostBy.BEST, packaging=True), D(200))
    assert found is not None
    assert (found.amount, found.per_g) == (36, D("0.36"))
    with store.reading() as session:
        piece = session.get_one(PackagingRow, 1)
        assert pack_price(piece, price_book(session).exchange) == D("52.8")
    seen = PriceForm.of(dollars).fingerprint
    revise_price(store, 1, dollars.id, price("44", "100", "2026-10-01", "offered", "USD"), seen, packaging=True)
    with pytest.raises(Faults) as wrong:
        add_price(store, 1, price("1", "1 kg", "2026-10-01", currency="ZZZZ"), packaging=True)
    assert set(wrong.value.by_field) == {"quantity", "currency"}
    remove_price(store, 1, dollars.id, packaging=True)
    assert len(chosen(store, 1, CostBy.BEST, packaging=True)) == 1


def test_a_record_is_reckoned_in_its_own_currency_whatever_the_workshop_s_became() -> None:
    """One dollar was 0.80 euros: a workshop that now reckons in euros tells a cost of then in dollars again."""
    day = date(2026, 3, 1)
    euros = Exchange("EUR", {"USD": ((day, Decimal("0.8")),), "GBP": ((day, Decimal("1.2")),)})
    dollars = euros.into("USD")
    assert dollars.at_home(Decimal(10), "USD", day) == 10
    assert dollars.at_home(Decimal(8), "EUR", day) == 10
    assert dollars.at_home(Decimal(8), "GBP", day) == 12
    assert dollars.at_home(Decimal(8), "JPY", day) is None
    assert dollars.into("EUR").at_home(Decimal(10), "USD", day) == 8


@pytest.mark.parametrize(
    ("until", "reckoned"),
    [(date(2026, 4, 1), "5"), (date(2026, 3, 1), "5"), (date(2026, 2, 28), "4"), (date(2025, 12, 31), "3")],
)
def test_a_past_day_is_reckoned_with_what_had_been_paid_by_then_else_with_the_first_price(
    until: date, reckoned: str
) -> None:
    paid = [
        PriceRow(amount=D(amount), quantity_g=D(1), currency="", priced_on=day, kind=PriceKind.PAID)
        for amount, day in (("5", date(2026, 3, 1)), ("4", date(2026, 2, 1)), ("3", date(2026, 1, 1)))
    ]
    book = PriceBook(Exchange("EUR"), CostBy.BEST, {}).as_of(until, "EUR")
    (price,) = book.of_material(MaterialRow(id=1, prices=paid))
    assert price.amount == D(reckoned)
