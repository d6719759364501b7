"""Natural origin content by ISO 16128-2:2017: mass average of the natural origin indexes, with and without water."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.science.rules.selectors import Ingredient


@dataclass(frozen=True, slots=True)
class NaturalOrigin:
    """Natural origin content in per cent (0..100), with the water of the formula counted and left out.

    The two numbers count substances without an index as zero; ``high`` counts them as one. ``unknown`` names them.
    ``without_water`` is None for a formula that is all water.
    """

    with_water: Decimal
    with_water_high: Decimal
    without_water: Decimal | None
    without_water_high: Decimal | None
    unknown: tuple[str, ...]


def natural_origin(present: Iterable[Ingredient]) -> NaturalOrigin:
    """Work out the natural origin content of a formula expanded to substances.

    ISO 16128-2:2017: sum of mass times natural origin index over the sum of masses; water has index 1. The standard
    asks to say whether water is counted, so both are given.

    Raises:
        ValueError: when the formula holds nothing.
    """
    all_ = tuple(present)
    dry = tuple(i for i in all_ if not i.is_water)
    if not all_:
        raise ValueError("an empty formula has no natural origin content")
    unknown = tuple(i.name for i in dry if i.facts.natural_origin_index is None)
    return NaturalOrigin(
        with_water=_content(all_, Decimal(0)),
        with_water_high=_content(all_, Decimal(1)),
        without_water=_content(dry, Decimal(0)) if dry else None,
        without_water_high=_content(dry, Decimal(1)) if dry else None,
        unknown=unknown,
    )


def _content(present: Iterable[Ingredient], when_unknown: Decimal) -> Decimal:
    all_ = tuple(present)
    natural = sum((i.percent * _index(i, when_unknown) for i in all_), Decimal(0))
    return natural / sum((i.percent for i in all_), Decimal(0)) * 100


def _index(i: Ingredient, when_unknown: Decimal) -> Decimal:
    if i.is_water:
        return Decimal(1)
    known = i.facts.natural_origin_index
    return when_unknown if known is None else known
