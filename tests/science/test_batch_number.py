from datetime import date

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.science.batch_number import example, format_number, parse_pattern, series_key
from app.science.errors import Invalid

DAY = date(2025, 3, 7)

WRITTEN = [
    ("{code}-{year}-{count}", "HC1-2025-12"),
    ("{code}-{year:2}{month}{day}-{count:3}", "HC1-250307-012"),
    ("{year}/{count:4} {code}", "2025/0012 HC1"),
    ("L{count:1}", "L12"),
    ("  {month}.{count}  ", "03.12"),
]


@pytest.mark.parametrize(("pattern", "number"), WRITTEN)
def test_a_number_follows_its_pattern(pattern: str, number: str) -> None:
    assert format_number(pattern, "HC1", DAY, 12) == number


def test_a_count_longer_than_its_width_keeps_its_digits() -> None:
    assert format_number("{code}-{count:2}", "A", DAY, 1234) == "A-1234"


def test_the_example_is_the_first_number() -> None:
    assert example("{code}-{count:3}", DAY) == "HC1-001"


REFUSED = [
    ("", "Enter a pattern"),
    ("   ", "Enter a pattern"),
    ("{code}", "Add {count}"),
    ("{count}-{count}", "once"),
    ("{code}-{count", "Close every brace"),
    ("{code}}-{count}", "Close every brace"),
    ("{week}-{count}", "not known here"),
    ("{}-{count}", "not known here"),
    ("{code!r}-{count}", "not known here"),
    ("{code.__class__}-{count}", "not known here"),
    ("{count:99}", "A width goes with"),
    ("{month:1}-{count}", "A width goes with"),
    ("{year:3}-{count}", "A width goes with"),
    ("{count:" + "9" * 5000 + "}", "Shorten"),
    ("<b>{count}", "goes on labels"),
    ("a\x00{count}", "goes on labels"),
    ("{code}{count}", "between {code} and {count}"),
    ("{count}7{code}", "between {code} and {count}"),
    ("{code}{year}{count}", "between {code} and {count}"),
    ("x" * 61 + "{count}", "Shorten"),
]


@pytest.mark.parametrize(("pattern", "words"), REFUSED, ids=range(len(REFUSED)))
def test_a_pattern_that_cannot_number_batches_is_refused_at_its_field(pattern: str, words: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_pattern(pattern)
    assert refused.value.field == "batch_number_pattern"
    assert words in refused.value.message


def test_a_count_below_one_is_refused() -> None:
    with pytest.raises(Invalid, match="starts at 1"):
        format_number("{count}", "A", DAY, 0)


def test_a_series_goes_on_when_only_the_width_changes() -> None:
    assert series_key("{code}-{count}", "A", DAY) == series_key("{code}-{count:5}", "A", DAY)


def test_a_year_in_the_pattern_starts_a_new_series_each_year() -> None:
    assert series_key("{code}-{year}-{count}", "A", DAY) != series_key("{code}-{year}-{count}", "A", date(2026, 1, 1))
    assert series_key("{code}-{count}", "A", DAY) == series_key("{code}-{count}", "A", date(2026, 1, 1))


GOOD = st.sampled_from(
    ["{code}-{year}-{count}", "{year}{month}{day}-{code}.{count:3}", "{count}/{code}", "{year}{count}"]
)
CODES = st.text("AB12-", min_size=1, max_size=4)
COUNTS = st.integers(1, 100_000)


@settings(max_examples=80)
@given(GOOD, CODES, CODES, COUNTS, COUNTS)
def test_two_batches_of_one_pattern_never_share_a_number(p: str, a: str, b: str, n: int, m: int) -> None:
    one, other = (series_key(p, a, DAY), n), (series_key(p, b, DAY), m)
    assume(one != other)
    assert format_number(p, a, DAY, n) != format_number(p, b, DAY, m)
