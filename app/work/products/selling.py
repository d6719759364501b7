"""A formula as it is sold in a product: the packaging, the price in the workshop's currency, the words, the fill."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.formula import Formula, Packaging
from app.science.numbers import exact_arithmetic
from app.science.quantities import parse_quantity, to_grams
from app.store.errors import NotFound
from app.store.products import Product, ProductPackaging, find_product
from app.work.clock import today
from app.work.pricing import PriceBook, price_book


@dataclass(frozen=True, slots=True)
class ProductSetting:
    """A product with what it takes to reckon with it: prices, and its currency's rate, None while nobody typed one."""

    product: Product
    rate: Decimal | None
    book: PriceBook | None = None


@dataclass(frozen=True, slots=True)
class Sold:
    """What a product adds to a formula; ``price`` is in the workshop's currency, None where no rate is known."""

    packaging: tuple[Packaging, ...]
    price: Decimal | None
    claims: str
    tax_percent: Decimal


def setting_of(session: Session, product: Product, book: PriceBook | None = None) -> ProductSetting:
    """Return a product with today's exchange rate of its currency and the prices of packaging, read unless given."""
    book = book or price_book(session)
    return ProductSetting(product, book.exchange.rate(product.currency, today()), book)


def product_setting(session: Session, product_id: int) -> ProductSetting:
    """Read a product with the exchange rate of its currency.

    Raises:
        NotFound: when there is none.
    """
    product = find_product(session, product_id)
    if product is None:
        raise NotFound("There is no such product.")
    return setting_of(session, product)


def as_sold(setting: ProductSetting) -> Sold:
    """Return what a product adds to its formula."""
    product = setting.product
    known = product.price is not None and setting.rate is not None
    with exact_arithmetic():
        price = (product.price or Decimal(0)) * (setting.rate or Decimal(0)) if known else None
    words = "\n".join(text for text in (product.front_words, product.claims) if text)
    return Sold(tuple(_piece(pack, setting.book) for pack in product.packaging), price, words, product.tax_percent)


def for_product(formula: Formula, setting: ProductSetting) -> Formula:
    """Return a formula as it is sold in a product: its name, fill, packaging, price, tax, words, claims and law.

    Raises:
        Invalid: at ``fill``, when the content is a volume and the formula has no density.
    """
    product, sold = setting.product, as_sold(setting)
    fill: dict[str, Any] = {"fill_g": None, "units": None, "fill_amount": None, "fill_unit": "g"}
    if product.fill_amount is not None:
        quantity = parse_quantity(f"{product.fill_amount:f} {product.fill_unit}", "fill")
        fill_g = to_grams(quantity, formula.density_g_ml, "fill")
        fill = {"fill_g": fill_g, "fill_amount": product.fill_amount, "fill_unit": product.fill_unit}
        fill["units"] = int(formula.size.net_g // fill_g) if formula.size else None
    return replace(
        formula,
        name=product.name,
        size=formula.size and replace(formula.size, **fill),
        packaging=sold.packaging,
        price=sold.price,
        claims=sold.claims,
        jurisdiction=product.jurisdiction,
        rates=replace(formula.rates, tax_percent=sold.tax_percent),
    )


def _piece(pack: ProductPackaging, book: PriceBook | None) -> Packaging:
    item = pack.packaging
    prices = book.of_packaging(item) if book else ()
    return Packaging(item.id, item.name, pack.per_unit, item.units_per_pack, prices=prices)
