"""What common essential oils usually hold."""

from collections import defaultdict
from decimal import Decimal
from functools import cache

from app.reference.library import split_cell
from app.reference.tables import read_table
from app.science.rules.constituents import Constituent, ConstituentIndex
from app.science.rules.values import Source

COLUMNS = ["oils", "constituent", "low_percent", "typical_percent", "high_percent", "source", "source_status"]


@cache
def constituent_index() -> ConstituentIndex:
    """Return the constituents by oil.

    Raises:
        ValueError: when a range is not in order.
    """
    found: dict[str, list[Constituent]] = defaultdict(list)
    for row in read_table("oil_constituents", COLUMNS):
        low, typical, high = (Decimal(row[c]) for c in ("low_percent", "typical_percent", "high_percent"))
        if not 0 <= low <= typical <= high <= 100:
            raise ValueError(f"oil_constituents: {row['oils']}, {row['constituent']}: the range is not in order")
        one = Constituent(row["constituent"], low, typical, high, Source(row["source"], row["source_status"]))
        for oil in split_cell(row["oils"]):
            found[oil].append(one)
    return ConstituentIndex({oil: tuple(ones) for oil, ones in found.items()})
