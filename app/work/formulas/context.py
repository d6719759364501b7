"""What the workshop brings to every formula: its settings, scales and packaging, as defaults for what is not typed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from babel.numbers import get_currency_precision
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science import scales as science_scales
from app.science.formula import Packaging, Rates
from app.store import materials as stored
from app.store.workshop import Scale, Workshop, scales, the_workshop
from app.work.formulas.resolve import Defaults


@dataclass(frozen=True, slots=True)
class WorkshopContext:
    """The workshop with its scales and its packaging by id."""

    workshop: Workshop
    scales: tuple[Scale, ...] = ()
    packaging: Mapping[int, stored.Packaging] = field(default_factory=dict)

    @property
    def defaults(self) -> Defaults:
        """What stands where a draft says nothing else; without a scale one is assumed that reads 0.01 g."""
        shop = self.workshop
        return Defaults(
            loss_percent=shop.loss_percent,
            scales=tuple(science_scale(scale) for scale in self.scales) or (science_scales.ASSUMED_SCALE,),
            packaging={key: science_packaging(item) for key, item in self.packaging.items()},
            rates=rates_of(shop),
        )


def read_context(session: Session) -> WorkshopContext:
    """Read what the workshop brings."""
    packaging = {item.id: item for item in session.scalars(select(stored.Packaging))}
    return WorkshopContext(the_workshop(session), tuple(scales(session)), packaging)


def science_scale(scale: Scale) -> science_scales.Scale:
    """Return a stored scale as a value."""
    return science_scales.Scale(scale.readability_g, scale.capacity_g, scale.name, scale.vessel_g or Decimal(0))


def science_packaging(item: stored.Packaging) -> Packaging:
    """Return a stored piece of packaging as a value, one to a unit."""
    return Packaging(item.id, item.name, Decimal(1), item.units_per_pack, item.price)


def rates_of(shop: Workshop) -> Rates:
    """Return what a workshop reckons with, with the decimals of its currency."""
    return Rates(
        currency=shop.currency,
        digits=get_currency_precision(shop.currency),
        labour_rate=shop.labour_rate,
        overhead_percent=shop.overhead_percent,
        tax_percent=shop.tax_percent,
    )
