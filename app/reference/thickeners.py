"""Thickeners for water phases: dose, pH window, tolerance, clarity and feel, each with its mark."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from app.reference.tables import decimal_or_none, read_table
from app.science.acid_base.gel import GelWindow
from app.science.names import inci_key

COLUMNS = [
    "inci_name",
    "dose_low_percent",
    "dose_high_percent",
    "ph_low",
    "ph_high",
    "swells_from_ph",
    "best_from_ph",
    "best_to_ph",
    "salt_tolerance",
    "charge",
    "clarity",
    "feel",
    "needs_neutraliser",
    "what_else_changes",
    "source",
    "source_status",
]


@dataclass(frozen=True, slots=True)
class Thickener:
    """One thickener; doses in % w/w of the formula for a body like a light gel."""

    inci: str
    dose_low_percent: Decimal
    dose_high_percent: Decimal
    window: GelWindow
    salt_tolerance: str
    charge: str
    clarity: str
    feel: str
    needs_neutraliser: bool
    what_else_changes: str
    source: str
    source_status: str


@cache
def thickeners() -> tuple[Thickener, ...]:
    """Read the table, in its order.

    Raises:
        ValueError: when a cell is not what it should be.
    """
    found = []
    for row in read_table("thickeners", COLUMNS):
        low, high = decimal_or_none(row["dose_low_percent"]), decimal_or_none(row["dose_high_percent"])
        if low is None or high is None or low > high or row["needs_neutraliser"] not in {"yes", "no"}:
            raise ValueError(f"thickeners.csv: {row['inci_name']}: dose or neutraliser is wrong")
        found.append(
            Thickener(
                inci=row["inci_name"],
                dose_low_percent=low,
                dose_high_percent=high,
                window=GelWindow(
                    _float(row["swells_from_ph"]),
                    float(row["ph_low"]),
                    float(row["ph_high"]),
                    _float(row["best_from_ph"]),
                    _float(row["best_to_ph"]),
                ),
                salt_tolerance=row["salt_tolerance"],
                charge=row["charge"],
                clarity=row["clarity"],
                feel=row["feel"],
                needs_neutraliser=row["needs_neutraliser"] == "yes",
                what_else_changes=row["what_else_changes"],
                source=row["source"],
                source_status=row["source_status"],
            )
        )
    return tuple(found)


@cache
def thickener_of(inci: str) -> Thickener | None:
    """Find a thickener by INCI name, any case; None when it is not in the table."""
    return next((t for t in thickeners() if inci_key(t.inci) == inci_key(inci)), None)


def _float(text: str) -> float | None:
    return float(text) if text else None
