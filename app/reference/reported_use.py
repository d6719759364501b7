"""The highest use of a substance that somebody reported or assessed, beside the habit that the library holds."""

from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import substances
from app.reference.tables import read_table
from app.science.names import inci_key
from app.science.rules.values import Exposure, HighestUse, Source

COLUMNS = ["inci_name", "exposure", "kind", "high_percent", "source", "source_status"]
KINDS = ("reported", "assessed")


@cache
def highest_uses() -> Mapping[str, tuple[HighestUse, ...]]:
    """Return what is known of the highest use by `inci_key`, % w/w of the substance itself in the finished product.

    Raises:
        ValueError: for a name that the library does not hold, another kind, or a percentage that is none.
    """
    found: dict[str, list[HighestUse]] = defaultdict(list)
    for row in read_table("reported_use", COLUMNS):
        key, percent = inci_key(row["inci_name"]), Decimal(row["high_percent"])
        if key not in substances() or row["kind"] not in KINDS or not 0 < percent <= 100:
            raise ValueError(f"reported_use.csv: {row['inci_name']} {row['kind']} {percent}")
        exposures = (Exposure(row["exposure"]),) if row["exposure"] else tuple(Exposure)
        source = Source(row["source"], row["source_status"])
        found[key] += [HighestUse(one, percent, row["kind"] == "assessed", source) for one in exposures]
    return MappingProxyType({key: tuple(uses) for key, uses in found.items()})
