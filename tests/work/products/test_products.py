"""Products: one formula in several fills and markets, and what follows for its papers."""

from decimal import Decimal
from typing import Any

import pytest

from app.science.barcode_number import check_digit, read_barcode_number
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.products import Product, live_products, products_of
from app.work.form import Faults
from app.work.paper_formula import PaperRequest, cost_sheet_of, declaration_of, formula_asked
from app.work.products.price_list import price_list
from app.work.products.product_form import PackForm, ProductForm, RateForm
from app.work.products.products import add_product, load_product, retire_product, revise_product, set_rate

D = Decimal


def form(**more: object) -> ProductForm:
    return ProductForm(**{"name": "Hand cream 30 g", "fill": "30 g", "price": "9.90", "tax_percent": "23", **more})


# Examples of GS1 General Specifications 7.9.1 and of the ISSN, ISBN and UPC pages of GS1.
@pytest.mark.parametrize("digits", ["6291041500213", "4006381333931", "036000291452", "96385074", "10614141000415"])
def test_numbers_of_bar_codes_carry_the_published_check_digit(digits: str) -> None:
    assert check_digit(digits[:-1]) == int(digits[-1])
    assert read_barcode_number(f"{digits[:3]} {digits[3:]}") == digits


@pytest.mark.parametrize(
    ("text", "words"), [("6291041500214", "would be 3"), ("12345", "8, 12, 13 or 14"), ("62910415OO213", "digits")]
)
def test_a_number_that_no_bar_code_carries_is_refused(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        read_barcode_number(text, "barcode")


def test_a_price_list_names_what_has_no_price_apart() -> None:
    """By hand: 9.90 with 19 % is 8.3193... before tax."""

    def sold(name: str, price: str | None) -> Product:
        return Product(
            name=name, price=None if price is None else D(price), currency="EUR", tax_percent=D(19), minimum=6,
            fill_amount=D(50), fill_unit="g", barcode="", jurisdiction=Jurisdiction.EU,
        )  # fmt: skip

    session: Any = None
    found = price_list(session, [sold("Cream", "9.90"), sold("Balm", None), sold("Gift", "0")])
    assert [(row.name, row.before_tax, row.price, row.content) for row in found.rows] == [
        ("Cream", D("8.32"), D("9.90"), "50 g")
    ]
    assert found.unpriced == ("Balm", "Gift")


def test_the_demonstration_has_a_product_of_each_formula(demo: Store) -> None:
    with demo.reading() as session:
        rows = live_products(session)
    assert {row.formula_id for row in rows} == set(range(1, 9))
    assert all(row.fill_amount and row.price for row in rows)
    assert {row.currency for row in rows} == {"EUR", "USD"}


def test_one_formula_is_sold_in_several_sizes_that_cost_what_they_hold(demo: Store) -> None:
    pot = form(packaging=(PackForm(packaging="1", per_unit="2"),))
    product_id = add_product(demo, 2, pot)
    with demo.reading() as session:
        stored = load_product(session, product_id)
        assert [(p.packaging_id, p.per_unit) for p in stored.packaging] == [(1, 2)]
        usual = cost_sheet_of(session, PaperRequest(2, size="1 kg"))
        small = cost_sheet_of(session, PaperRequest(2, size="1 kg", product_id=product_id))
    assert (small.costing.units, small.job.fill_g) == (33, 30)
    assert small.formula.name == "Hand cream 30 g"
    assert small.batch.materials == usual.batch.materials
    assert [row.per_unit for row in small.packaging] == [2]


def test_a_price_in_another_currency_needs_a_rate_and_is_turned_into_the_workshops(demo: Store) -> None:
    product_id = add_product(demo, 2, form(currency="usd", price="11.00", jurisdiction="US"))
    with demo.reading() as session:
        assert formula_asked(session, PaperRequest(2, product_id=product_id)).price is None
    set_rate(demo, RateForm(currency="USD", rate="0.90"))
    with demo.reading() as session:
        assert formula_asked(session, PaperRequest(2, product_id=product_id)).price == D("9.90")
        assert declaration_of(session, PaperRequest(2, product_id=product_id)).declared.jurisdiction == "US"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"name": " "}, "name"),
        ({"fill": "a bit"}, "fill"),
        ({"price": "9.999"}, "price"),
        ({"currency": "EURO"}, "currency"),
        ({"languages": "en, klingon"}, "languages"),
        ({"open_months": "1.5"}, "open_months"),
        ({"barcode": "6291041500214"}, "barcode"),
        ({"minimum": "2.5"}, "minimum"),
        ({"packaging": (PackForm(packaging="999"),)}, "pack-0-packaging"),
    ],
)
def test_a_slip_stands_at_its_field_and_nothing_is_written(demo: Store, typed: dict, field: str) -> None:
    with pytest.raises(Faults) as caught:
        add_product(demo, 2, form(**typed))
    assert field in caught.value.by_field
    with demo.reading() as session:
        assert len(products_of(session, 2)) == 2


def test_a_form_adds_one_product_and_two_people_do_not_overwrite_each_other(demo: Store) -> None:
    product_id = add_product(demo, 2, form(), key="k")
    assert add_product(demo, 2, form(), key="k") == product_id
    with demo.reading() as session:
        seen = ProductForm.of(load_product(session, product_id)).fingerprint
    revise_product(demo, product_id, form(name="One"), seen)
    with pytest.raises(Conflict):
        revise_product(demo, product_id, form(name="Other"), seen)
    retire_product(demo, product_id)
    with demo.reading() as session:
        assert [row.name for row in products_of(session, 2)] != ["One"]
        assert load_product(session, product_id).name == "One"
        with pytest.raises(NotFound):
            formula_asked(session, PaperRequest(1, product_id=product_id))
