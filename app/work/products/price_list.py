"""The price list for shops: every product that has a price, with and without tax, and as a file."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from babel.numbers import get_currency_precision
from sqlalchemy.orm import Session

from app.science.cost import net_price
from app.science.numbers import plain, to_places
from app.store.products import Product, live_products
from app.work.clock import today
from app.work.csv_text import write_table

COLUMNS = ("product", "content", "barcode", "market", "minimum", "currency", "price_before_tax", "tax_percent", "price")
NUMBERS = ("minimum", "price_before_tax", "tax_percent", "price")


@dataclass(frozen=True, slots=True)
class ListedPrice:
    """A product on the list; ``before_tax`` and ``price`` are rounded to the currency of the product."""

    name: str
    content: str
    barcode: str
    market: str
    minimum: int
    currency: str
    before_tax: Decimal
    tax_percent: Decimal
    price: Decimal


@dataclass(frozen=True, slots=True)
class PriceList:
    """The list as of a day; ``unpriced`` names the products that have no price and so do not stand on it."""

    rows: tuple[ListedPrice, ...]
    unpriced: tuple[str, ...]
    day: date


def price_list(session: Session, products: Sequence[Product] | None = None) -> PriceList:
    """Return the price list of some products, or of every one that is not retired."""
    products = live_products(session) if products is None else products
    rows = tuple(_listed_price(product, product.price) for product in products if product.price)
    return PriceList(rows, tuple(product.name for product in products if not product.price), today())


def _listed_price(product: Product, price: Decimal) -> ListedPrice:
    digits = get_currency_precision(product.currency)
    content = "" if product.fill_amount is None else f"{plain(product.fill_amount)} {product.fill_unit}"
    return ListedPrice(
        name=product.name,
        content=content,
        barcode=product.barcode,
        market=product.jurisdiction.value,
        minimum=product.minimum,
        currency=product.currency,
        before_tax=to_places(net_price(price, product.tax_percent), digits),
        tax_percent=product.tax_percent,
        price=to_places(price, digits),
    )


def price_list_csv(listed: PriceList) -> str:
    """Return the list as comma-separated text, numbers plain with a point."""
    return write_table(COLUMNS, [_cells(row) for row in listed.rows], NUMBERS)


def _cells(row: ListedPrice) -> dict[str, str]:
    return {
        "product": row.name,
        "content": row.content,
        "barcode": row.barcode,
        "market": row.market,
        "minimum": str(row.minimum),
        "currency": row.currency,
        "price_before_tax": _money(row.before_tax, row.currency),
        "tax_percent": plain(row.tax_percent),
        "price": _money(row.price, row.currency),
    }


def _money(amount: Decimal, currency: str) -> str:
    places = get_currency_precision(currency)
    return f"{amount.quantize(Decimal(1).scaleb(-places)):f}"
