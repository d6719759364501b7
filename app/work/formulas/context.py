"""What the workshop brings to a formula: its settings, its scales, and the product that the formula is sold in."""

from dataclasses import dataclass, replace
from decimal import Decimal

from babel.numbers import get_currency_precision
from sqlalchemy.orm import Session

from app.science import scales as science_scales
from app.science.formula import Rates
from app.store.products import Product, products_of
from app.store.workshop import ScaleRow, Workshop, scales, the_workshop
from app.work.formulas.resolve import Defaults
from app.work.pricing import PriceBook
from app.work.products.selling import ProductSetting, as_sold, setting_of


@dataclass(frozen=True, slots=True)
class WorkshopContext:
    """The workshop with its scales, and the products of a formula; ``sold`` is the first of them with its rate."""

    workshop: Workshop
    scales: tuple[ScaleRow, ...] = ()
    sold: ProductSetting | None = None
    products: tuple[Product, ...] = ()

    @property
    def defaults(self) -> Defaults:
        """What stands where a draft says nothing else; without a scale one is assumed that reads 0.01 g."""
        shop = self.workshop
        found = Defaults(
            loss_percent=shop.loss_percent,
            scales=tuple(science_scale(scale) for scale in self.scales) or (science_scales.ASSUMED_SCALE,),
            rates=rates_of(shop),
            jurisdiction=shop.jurisdiction,
        )
        if self.sold is None:
            return found
        sold = as_sold(self.sold)
        rates = replace(found.rates, tax_percent=sold.tax_percent)
        return replace(found, rates=rates, packaging=sold.packaging, price=sold.price, claims=sold.claims)


def read_context(session: Session, formula_id: int = 0, book: PriceBook | None = None) -> WorkshopContext:
    """Read what the workshop brings, and the products of a formula; their prices are read unless given."""
    shop = the_workshop(session)
    products = tuple(products_of(session, formula_id)) if formula_id else ()
    sold = setting_of(session, products[0], book) if products else None
    return WorkshopContext(shop, tuple(scales(session)), sold, products)


def science_scale(scale: ScaleRow) -> science_scales.Scale:
    """Return a stored scale as a value."""
    return science_scales.Scale(scale.readability_g, scale.capacity_g, scale.name, scale.vessel_g or Decimal(0))


def rates_of(shop: Workshop) -> Rates:
    """Return what a workshop reckons with, with the decimals of its currency."""
    return Rates(
        currency=shop.currency,
        digits=get_currency_precision(shop.currency),
        labour_rate=shop.labour_rate,
        overhead_percent=shop.overhead_percent,
        tax_percent=shop.tax_percent,
    )
