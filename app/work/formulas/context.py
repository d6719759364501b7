"""What the workshop brings to a formula: its settings, its scales, and the product that the formula is sold in."""

from dataclasses import dataclass, replace
from decimal import Decimal

from babel.numbers import get_currency_precision
from sqlalchemy.orm import Session

from app.science import scales as science_scales
from app.science.formula import Rates
from app.store.products import products_of
from app.store.workshop import Scale, Workshop, scales, the_workshop
from app.work.formulas.resolve import Defaults
from app.work.products.selling import ProductSetting, as_sold, setting_of


@dataclass(frozen=True, slots=True)
class WorkshopContext:
    """The workshop with its scales; ``sold`` is the product that a formula is sold in, None while there is none."""

    workshop: Workshop
    scales: tuple[Scale, ...] = ()
    sold: ProductSetting | None = None

    @property
    def defaults(self) -> Defaults:
        """What stands where a draft says nothing else; without a scale one is assumed that reads 0.01 g."""
        shop = self.workshop
        found = Defaults(
            loss_percent=shop.loss_percent,
            scales=tuple(science_scale(scale) for scale in self.scales) or (science_scales.ASSUMED_SCALE,),
            rates=rates_of(shop),
        )
        if self.sold is None:
            return found
        sold = as_sold(self.sold)
        rates = replace(found.rates, tax_percent=sold.tax_percent)
        return replace(found, rates=rates, packaging=sold.packaging, price=sold.price, claims=sold.claims)


def read_context(session: Session, formula_id: int = 0) -> WorkshopContext:
    """Read what the workshop brings, and the first product of a formula."""
    shop = the_workshop(session)
    first = next(iter(products_of(session, formula_id)), None) if formula_id else None
    sold = setting_of(session, first) if first is not None else None
    return WorkshopContext(shop, tuple(scales(session)), sold)


def science_scale(scale: Scale) -> science_scales.Scale:
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
