"""The pages of products."""

import csv
import io
import re

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.store.engine import Store
from app.store.products import Product
from app.store.workshop import CostBy, the_workshop
from tests.conftest import CountStatements


def test_a_product_is_added_shown_changed_and_retired(demo_client: FlaskClient) -> None:
    new = demo_client.get("/formulas/2/products/new").text
    assert 'value="60 g"' in new
    data = {"name": "Hand cream 15 ml", "fill": "15 g", "price": "4.90", "pack-0-packaging": "1", "key": "k1"}
    assert demo_client.post("/formulas/2/products", data=data).status_code == 303
    page = demo_client.get("/formulas/2/products").text
    assert "Hand cream 15 ml" in page
    assert "€4.90" in page
    product = page.split('">Hand cream 15 ml')[0].rpartition("/products/")[2]
    form = demo_client.get(f"/products/{product}").text
    assert 'value="15 g"' in form
    seen = form.split('name="seen" value="')[1].split('"')[0]
    slip = demo_client.post(f"/products/{product}", data={**data, "fill": "much", "seen": seen})
    assert slip.status_code == 422
    assert 'value="much"' in slip.text
    assert demo_client.post(f"/products/{product}", data={**data, "price": "5", "seen": seen}).status_code == 303
    late = demo_client.post(f"/products/{product}", data={**data, "price": "6", "seen": seen})
    assert late.status_code == 409
    assert demo_client.post(f"/products/{product}/retire").status_code == 303
    assert "is retired" in demo_client.get("/formulas/2/products").text
    assert "Hand cream 15 ml" not in demo_client.get("/formulas/2/products").text


def test_prices_are_read_once_for_the_page_of_a_formula_and_its_product(
    demo_client: FlaskClient, demo: Store, statements: CountStatements
) -> None:
    with demo.transaction() as session:
        the_workshop(session).cost_by = CostBy.AVERAGE
    with statements(demo) as sent:
        assert demo_client.get("/formulas/2").status_code == 200
    for table in ("exchange_rate", "lot", "product"):
        assert sum(re.search(rf"FROM {table}\b", one) is not None for one in sent) == 1, table


def test_products_are_listed_a_page_at_a_time(
    demo_client: FlaskClient, demo: Store, statements: CountStatements
) -> None:
    with demo.transaction() as session:
        one = session.get_one(Product, 1)
        given = {"formula_id": one.formula_id, "currency": one.currency, "created_at": one.created_at}
        session.add_all(Product(name=f"Zest {n:03}", **given) for n in range(100))
    with statements(demo) as sent:
        first = demo_client.get("/products").text
    assert all("LIMIT" in asked for asked in sent if "FROM product" in asked and "ORDER BY product.name" in asked)
    assert first.count('<th scope="row"><a href="/products/') == 100
    assert "/products?skip=100" in first
    last = demo_client.get("/products?skip=100").text
    assert "Zest 099" in last
    assert "Zest 099" not in first


def test_papers_speak_of_the_product_that_is_chosen(demo_client: FlaskClient) -> None:
    for paper in ("cost-sheet", "declaration", "batch-sheet"):
        assert demo_client.get(f"/formulas/2/{paper}?product=2").status_code == 200
        assert demo_client.get(f"/formulas/2/{paper}?product=1").status_code == 404


def test_a_rate_is_noted_by_hand_and_a_bad_one_is_told(demo_client: FlaskClient) -> None:
    assert demo_client.post("/products/rates", data={"currency": "usd", "rate": "0.92"}).status_code == 303
    assert "0.92" in demo_client.get("/products").text
    assert demo_client.post("/products/rates", data={"currency": "usd", "rate": ""}).status_code == 422


def test_the_price_list_is_the_same_on_page_in_the_file_and_on_paper(demo_client: FlaskClient) -> None:
    rows = list(csv.DictReader(io.StringIO(demo_client.get("/products/price-list.csv").text)))
    page = demo_client.get("/products/price-list").text
    # worked by hand: 16.50 with 23 % tax is 13.4146... before tax
    cream = next(row for row in rows if row["product"] == "Oat and shea hand cream")
    assert (cream["price"], cream["price_before_tax"], cream["content"]) == ("16.50", "13.41", "60 g")
    for row in rows:
        assert f"€{row['price']}" in page
        assert f"€{row['price_before_tax']}" in page


@pytest.mark.paper
def test_the_price_list_prints(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/products/price-list.pdf")
    assert answer.headers["Content-Type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages)
    assert "Price list" in text
    assert "€16.50" in text
