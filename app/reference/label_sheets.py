"""Common sheets of labels, to start from; what counts is what the maker measures."""

from decimal import Decimal
from functools import cache

from app.reference.tables import read_table

LENGTHS = (
    "page_width_mm", "page_height_mm", "label_width_mm", "label_height_mm", "left_mm", "top_mm", "pitch_x_mm",
    "pitch_y_mm",
)  # fmt: skip
COLUMNS = (
    "name", "page_width_mm", "page_height_mm", "columns", "rows", "label_width_mm", "label_height_mm", "left_mm",
    "top_mm", "pitch_x_mm", "pitch_y_mm", "round", "source_status",
)  # fmt: skip


@cache
def common_sheets() -> dict[str, dict[str, Decimal | int | bool]]:
    """Return the measures of each common sheet, mm, by its name."""
    return {
        row["name"]: {
            **{name: Decimal(row[name]) for name in LENGTHS},
            "columns": int(row["columns"]),
            "rows": int(row["rows"]),
            "is_round": row["round"] == "yes",
        }
        for row in read_table("label_sheets", COLUMNS)
    }
