"""The water that hydrosols, juices, milk, honey and the like hold within their name."""

from decimal import Decimal
from functools import cache

from app.reference.tables import read_table
from app.science.water import WaterContent, WaterTable

COLUMNS = ["pattern", "water_percent", "source", "source_status"]


@cache
def water_table() -> WaterTable:
    """Read the table (once).

    Raises:
        ValueError: when a share lies outside 0..100 or a pattern stands twice.
    """
    rows = [
        WaterContent(row["pattern"], Decimal(row["water_percent"]), row["source"], row["source_status"])
        for row in read_table("water_content", COLUMNS)
    ]
    if len({r.pattern for r in rows}) != len(rows) or not all(0 <= r.percent <= 100 for r in rows):
        raise ValueError("water_content.csv: a pattern stands twice, or a share is outside 0 to 100")
    return WaterTable(rows)


def water_percent_in(inci: str) -> Decimal:
    """Return the water that a named substance holds, % w/w of it: Aqua 100, a flower water 98, honey 17, an oil 0."""
    return water_table().percent_in(inci)
