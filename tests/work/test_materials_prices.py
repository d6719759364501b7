from contextlib import suppress
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.materials import PriceRow, newest_price
from app.work.clock import today
from app.work.form import Faults
from app.work.materials import prices, shelf
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceContext, PriceForm

D = Decimal
OIL = MaterialForm(name="Sunflower oil", density="0.92", parts=(PartForm("Helianthus Annuus Seed Oil"),))


def euro(density: Decimal | None = None) -> PriceContext:
    return PriceContext(density, "EUR")


def per_kg(form: PriceForm) -> Decimal:
    return PriceRow(**form.columns()).per_kg


PER_KG = [
    # NIST Handbook 44, appendix C: 1 oz = 28.349523125 g, 1 lb = 453.59237 g, 1 US fl oz = 29.5735295625 mL
    ("12.40", "8 oz", None, D("12.40") / D("226.796185") * 1000),
    ("9,80", "1 kg", None, D("9.8")),
    ("5", "1 lb 3 oz", None, D(5) / D("538.640939375") * 1000),
    ("6", "500 mL", D("0.92"), D(6) / D(460) * 1000),
    ("6", "8 fl oz", D("0.92"), D(6) / (D("236.5882365") * D("0.92")) * 1000),
    ("€ 12.40", "100 g", None, D(124)),
    ("0", "1 kg", None, D(0)),
]


@pytest.mark.parametrize(("amount", "quantity", "density", "expected"), PER_KG)
def test_the_price_of_a_kilogram_follows(
    amount: str, quantity: str, density: Decimal | None, expected: Decimal
) -> None:
    values = PriceForm(amount, quantity, "2026-03-05").checked(euro(density))
    assert abs(per_kg(values) - expected) < D("1e-18")


REFUSED = [
    (PriceForm("", "1 kg"), "amount", "Enter the amount"),
    (PriceForm("nan", "1 kg"), "amount", "not a number"),
    (PriceForm("-1", "1 kg"), "amount", "negative"),
    (PriceForm("1e400", "1 kg"), "amount", "without the letter e"),
    (PriceForm("1,234", "1 kg"), "amount", "can mean"),
    (PriceForm("1.2345678", "1 kg"), "amount", "at most 6 decimals"),
    (PriceForm("5", ""), "quantity", "amount and a unit"),
    (PriceForm("5", "5"), "quantity", "unit"),
    (PriceForm("5", "0 g"), "quantity", "above 0"),
    (PriceForm("5", "500 mL"), "quantity", "density"),
    (PriceForm("5", "1 kg", "05/03/2026"), "priced_on", "year-month-day"),
    (PriceForm("5", "1 kg", "2026-02-30"), "priced_on", "year-month-day"),
    (PriceForm("5", "1 kg", "0001-01-01"), "priced_on", "after 1900"),
    (PriceForm("5", "1 kg", kind="stolen"), "kind", "Choose"),
    (PriceForm("5", "1 kg", supplier="x" * 300), "supplier", "Shorten"),
]


@pytest.mark.parametrize(("typed", "field", "words"), REFUSED, ids=range(len(REFUSED)))
def test_what_is_wrong_with_a_price_is_told_at_its_field(typed: PriceForm, field: str, words: str) -> None:
    with pytest.raises(Faults) as refused:
        typed.checked(euro())
    assert [fault.field for fault in refused.value.faults] == [field]
    assert words in refused.value.faults[0].message


def test_an_empty_date_is_today() -> None:
    assert PriceForm("5", "1 kg").checked(euro()).priced_on == today()


def test_prices_are_noted_once_changed_and_removed(store: Store) -> None:
    material_id = shelf.add_material(store, OIL)
    prices.add_price(store, material_id, PriceForm("6", "500 mL", "2026-03-05"), "key")
    prices.add_price(store, material_id, PriceForm("7", "500 mL", "2026-03-05"), "key")
    (price,) = shelf.load_material(store, material_id).prices
    seen = PriceForm.of(price).fingerprint
    prices.revise_price(store, material_id, price.id, PriceForm("8", "1 L", "2026-03-06"), seen)
    (changed,) = shelf.load_material(store, material_id).prices
    assert (changed.amount, changed.quantity_g, changed.priced_on) == (D(8), D(920), date(2026, 3, 6))
    with pytest.raises(Conflict):
        prices.revise_price(store, material_id, price.id, PriceForm("9", "1 L"), seen)
    prices.remove_price(store, material_id, price.id)
    assert shelf.load_material(store, material_id).prices == []
    with pytest.raises(NotFound):
        prices.remove_price(store, material_id, price.id)


def test_the_newest_price_paid_counts_before_any_offer(store: Store) -> None:
    material_id = shelf.add_material(store, OIL)
    for typed in (
        PriceForm("10", "1 kg", "2026-01-01"),
        PriceForm("11", "1 kg", "2026-02-01"),
        PriceForm("5", "1 kg", "2026-03-01", kind="offered"),
    ):
        prices.add_price(store, material_id, typed)
    newest = newest_price(shelf.load_material(store, material_id).prices)
    assert newest is not None
    assert newest.amount == 11
    assert newest_price([]) is None


@settings(max_examples=60)
@given(st.text(max_size=40), st.text(max_size=40), st.text(max_size=20))
def test_a_price_of_any_text_is_read_or_refused(amount: str, quantity: str, day: str) -> None:
    with suppress(Faults):
        values = PriceForm(amount, quantity, day).checked(euro(D("0.9")))
        assert values.amount >= 0
        assert values.quantity.grams > 0
