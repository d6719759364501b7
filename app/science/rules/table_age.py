"""How old the tables of law are: the date each row carries, and the notice when it is more than a year back."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from app.science.rules.values import LimitRule

_YEAR_MONTH = re.compile(r"\b((?:19|20)\d\d)-(0[1-9]|1[0-2])\b")
_YEAR = re.compile(r"(?:19|20)\d\d")


@dataclass(frozen=True, slots=True)
class TableAge:
    """The age of a table: ``state`` is the date most of its rows carry, ``newest`` the latest; None when undated."""

    table: str
    state: date | None
    newest: date | None
    rows: int

    def is_old(self, today: date) -> bool:
        """Return whether the table is more than a year old at a date; one without a date counts as old."""
        return self.state is None or self.state.replace(year=self.state.year + 1, day=min(self.state.day, 28)) < today


def state_of(as_of: str) -> date | None:
    """Read the state of a row: year and month when given, else the last year named; the first day of it.

    >>> state_of("2024-05 (2019/831)"), state_of("(EU) 2024/996"), state_of("CFR")
    (datetime.date(2024, 5, 1), datetime.date(2024, 1, 1), None)
    """
    month = _YEAR_MONTH.search(as_of)
    if month:
        return date(int(month[1]), int(month[2]), 1)
    years = _YEAR.findall(as_of)
    return date(int(years[-1]), 1, 1) if years else None


def table_ages(tables: Mapping[str, Iterable[LimitRule]]) -> tuple[TableAge, ...]:
    """Return the age of some tables of limits, each under its name."""
    found = []
    for name, rules in tables.items():
        states = [state_of(rule.as_of) for rule in rules]
        known = [state for state in states if state is not None]
        common = Counter(known).most_common(1)
        state = common[0][0] if common else None
        found.append(TableAge(name, state, max(known, default=None), len(states)))
    return tuple(found)


def old_tables(ages: Iterable[TableAge], today: date) -> tuple[TableAge, ...]:
    """Return the tables that are more than a year old at a date."""
    return tuple(age for age in ages if age.is_old(today))
