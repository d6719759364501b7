"""Densities of liquids at stated temperatures, of ``densities.csv``."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import substances
from app.reference.provenance import Provenance, provenance_of
from app.reference.tables import decimal_or_none, read_table
from app.science.names import inci_key

ROOM_C = Decimal(20)
COLUMNS = (
    "inci_name",
    "common_name",
    "strength_percent",
    "density_g_ml",
    "temp_c",
    "low",
    "high",
    "source",
    "source_status",
    "notes",
)


@dataclass(frozen=True, slots=True)
class DensityValue:
    """A density in g/mL at ``temperature_c`` degrees Celsius, with the range it scatters in when one is known.

    ``strength_percent`` is % w/w of the named substance in the liquid measured, the rest being water;
    None means the liquid as its name says, undiluted. ``temperature_c`` is None when nobody stated it.
    """

    inci: str
    grade: str
    strength_percent: Decimal | None
    g_ml: Decimal
    temperature_c: Decimal | None
    low: Decimal | None
    high: Decimal | None
    provenance: Provenance
    notes: str = ""


@cache
def densities() -> Mapping[str, tuple[DensityValue, ...]]:
    """Every shipped density by `inci_key`; a name with ``(and)`` in it stands for a blend."""
    found: dict[str, list[DensityValue]] = {}
    for row in read_table("densities", COLUMNS):
        found.setdefault(inci_key(row["inci_name"]), []).append(
            DensityValue(
                inci=row["inci_name"],
                grade=row["common_name"],
                strength_percent=decimal_or_none(row["strength_percent"]),
                g_ml=Decimal(row["density_g_ml"]),
                temperature_c=decimal_or_none(row["temp_c"]),
                low=decimal_or_none(row["low"]),
                high=decimal_or_none(row["high"]),
                provenance=provenance_of(row["source"], row["source_status"]),
                notes=row["notes"],
            )
        )
    return MappingProxyType({key: tuple(values) for key, values in found.items()})


def grade_densities(inci: str, strength_percent: Decimal | int | None = None) -> tuple[DensityValue, ...]:
    """Return every density of one grade.

    Args:
        inci: INCI name in any case.
        strength_percent: % w/w of a solution, 100 for the undiluted liquid; without it the grade usually sold.
    """
    values = densities().get(inci_key(inci), ())
    if strength_percent is None:
        substance = substances().get(inci_key(inci))
        strength = (substance and substance.active_matter_pct) or Decimal(100)
    else:
        strength = Decimal(strength_percent)
    undiluted = None if strength == 100 else strength
    return tuple(v for v in values if v.strength_percent == undiluted)
