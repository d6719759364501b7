"""Durability. Source: Regulation (EC) 1223/2009 Art. 19(1)(c), 30 months or less a date."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.keeping_time import Mark, add_months, keeping_time, last_whole_month

MADE = date(2026, 8, 31)


@pytest.mark.parametrize(
    ("months", "end"),
    [(6, date(2027, 2, 28)), (18, date(2028, 2, 29)), (1, date(2026, 9, 30)), (240, date(2046, 8, 31))],
)  # fmt: skip
def test_month_ends_are_clipped(months, end):
    assert add_months(MADE, months) == end


@pytest.mark.parametrize(
    ("months", "mark"),
    [(29, Mark.BEST_BEFORE), (30, Mark.BEST_BEFORE), (31, Mark.AFTER_OPENING), (36, Mark.AFTER_OPENING)],
)  # fmt: skip
def test_thirty_months_or_less_take_a_date(months, mark):
    assert keeping_time(MADE, months, {}).mark is mark


def test_the_earliest_date_decides_and_is_named():
    found = keeping_time(MADE, 36, {"L1": date(2028, 1, 1), "L2": date(2026, 11, 30)})
    assert (found.use_by, found.limited_by, found.mark) == (date(2026, 11, 30), "L2", Mark.BEST_BEFORE)
    assert any("L2 ends before" in note for note in found.notes)


def test_a_lot_past_its_date_is_told():
    assert any("L1 was past its date" in n for n in keeping_time(MADE, 12, {"L1": date(2026, 8, 30)}).notes)


def test_nothing_known_is_no_date():
    assert keeping_time(MADE, None, {}) is None


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_a_printed_month_never_promises_more_than_the_day(day):
    month, year = map(int, last_whole_month(day).split("/"))
    assert add_months(date(year, month, 1), 1) <= date.fromordinal(day.toordinal() + 1)


def test_a_lot_of_any_name_counts_beside_the_months() -> None:
    found = keeping_time(date(2026, 8, 31), 31, {"formula": date(2030, 1, 1)})
    assert found is not None
    assert (found.use_by, found.limited_by) == (date(2029, 3, 31), "formula")
