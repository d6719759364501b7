"""How long a batch keeps: the earliest of its formula's months and its lots' dates, and the mark that follows.

Source: Regulation (EC) 1223/2009 Art. 19(1)(c): 30 months or less a date, more the period after opening. In the US no
date is required on a cosmetic (from memory).
"""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

DATE_UP_TO_MONTHS = 30


class Mark(StrEnum):
    """What a label shows of durability."""

    BEST_BEFORE = "best-before"
    AFTER_OPENING = "period-after-opening"


@dataclass(frozen=True, slots=True)
class KeepingTime:
    """The last day, what sets it (``formula`` or a lot's name), the mark, and what to know."""

    use_by: date
    limited_by: str
    mark: Mark
    notes: tuple[str, ...]


def add_months(day: date, months: int) -> date:
    """Return the same day so many months later, or the last of a month that is too short.

    >>> add_months(date(2026, 8, 31), 6)
    datetime.date(2027, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def keeping_time(made_on: date, months: int | None, lots: Mapping[str, date]) -> KeepingTime | None:
    """Return how long a batch keeps; None when neither months nor lots say it.

    Args:
        made_on: the day of making.
        months: what the formula keeps, from a study or assumed.
        lots: the last day of each lot that went in.
    """
    # Pairs and not names: a lot may be called "formula" too.
    formula = [("formula", add_months(made_on, months))] if months is not None else []
    ends = [*formula, *lots.items()]
    if not ends:
        return None
    limited_by, use_by = min(ends, key=lambda end: end[1])
    dated = use_by <= add_months(made_on, DATE_UP_TO_MONTHS)
    notes = [f"{name} was past its date on the day of making." for name, end in lots.items() if end < made_on]
    if limited_by != "formula" and months is not None:
        notes.append(f"{limited_by} ends before the formula's {months} months are over: it sets the date.")
    if months is None:
        notes.append("No months were given for the formula: only its lots set this date.")
    if dated:
        notes.append(f"Where only month and year are printed: best used before the end of {last_whole_month(use_by)}.")
    notes.append(
        "A period after opening is set by test and judgement, never worked out from durability; usual are 3 to 6 "
        "months for eye products, 6 to 12 for creams in jars, 12 in pumps, 24 to 36 for dry products (common practice)."
    )
    return KeepingTime(use_by, limited_by, Mark.BEST_BEFORE if dated else Mark.AFTER_OPENING, tuple(notes))


def last_whole_month(day: date) -> str:
    """Return month and year of the last month that ends on or before a day, as ``03/2028``."""
    whole = day if day.day == calendar.monthrange(day.year, day.month)[1] else add_months(day.replace(day=1), -1)
    return f"{whole.month:02}/{whole.year}"
