from datetime import date
from types import SimpleNamespace

import pytest

from app.science.rules.table_age import TableAge, old_tables, state_of, table_ages


@pytest.mark.parametrize(
    ("cell", "state"),
    [
        ("2024-05", date(2024, 5, 1)),
        ("2024-05 (2019/831, 2019/1966)", date(2024, 5, 1)),
        ("(EU) 2026/78", date(2026, 1, 1)),
        ("CFR 2024", date(2024, 1, 1)),
        ("2023-24", date(2023, 1, 1)),
        ("CFR", None),
        ("", None),
    ],
)
def test_the_state_of_a_row_is_read(cell, state):
    assert state_of(cell) == state


def test_a_table_is_old_a_year_and_a_day_on():
    table = TableAge("EU", date(2024, 5, 1), date(2025, 12, 1), 3)
    assert not old_tables([table], date(2025, 5, 1))
    assert old_tables([table], date(2025, 5, 2)) == (table,)


def test_a_table_without_a_date_is_old():
    table = TableAge("XX", None, None, 1)
    assert old_tables([table], date(2025, 1, 1)) == (table,)


def test_a_leap_day_has_a_year_after():
    assert TableAge("EU", date(2024, 2, 29), None, 1).is_old(date(2025, 3, 1))


def test_the_age_of_a_table_is_that_of_most_of_its_rows_beside_its_newest():
    rows = [SimpleNamespace(as_of=cell) for cell in ("2024-05", "2025-11", "2024-05", "", "CFR")]
    (found,) = table_ages({"EU": rows})
    assert found == TableAge("EU", date(2024, 5, 1), date(2025, 11, 1), 5)
    assert table_ages({"XX": []}) == (TableAge("XX", None, None, 0),)
