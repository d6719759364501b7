from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.percent_range import PercentRange, fit_to_hundred, parse_range

D = Decimal

READ = [
    ("40", ("40", None, None)),
    ("40,5 %", ("40.5", None, None)),
    ("30-50", ("40", "30", "50")),
    ("30–50 %", ("40", "30", "50")),
    ("30 % - 50 %", ("40", "30", "50")),
    ("30 to 50", ("40", "30", "50")),
    ("0,5-1", ("0.75", "0.5", "1")),
    ("30-50 (42)", ("42", "30", "50")),
    ("< 5", ("2.5", "0", "5")),
    ("≤5", ("2.5", "0", "5")),
    (">= 95", ("97.5", "95", "100")),
    ("5-5", ("5", "5", "5")),
    ("100", ("100", None, None)),
    ("0", ("0", None, None)),
]


@pytest.mark.parametrize(("text", "expected"), READ)
def test_a_percentage_is_read_as_a_data_sheet_writes_it(
    text: str, expected: tuple[str, str | None, str | None]
) -> None:
    typical, low, high = (None if v is None else D(v) for v in expected)
    assert parse_range(text) == PercentRange(typical or D(0), low, high)


REFUSED = ["", "-", "-1", "101", "50-30", "30-50 (60)", "40 (41)", "nan", "1e400", "30-", "a-b", "1,234", "30-50-70"]
REFUSED += ["()", "\x00", "\ud800", "x" * 60_000, "1" + " " * 60_000 + "x"]


@pytest.mark.parametrize("text", REFUSED, ids=range(len(REFUSED)))
def test_what_is_no_percentage_is_refused_at_its_field(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_range(text, "part-0-percent")
    assert refused.value.field == "part-0-percent"
    assert len(refused.value.message) < 200


HUNDREDTHS = st.integers(0, 10_000).map(lambda n: D(n) / 100)


@st.composite
def ranges(draw: st.DrawFn) -> PercentRange:
    low, typical, high = sorted(draw(st.lists(HUNDREDTHS, min_size=3, max_size=3)))
    return draw(st.sampled_from([PercentRange(typical), PercentRange(typical, low, high)]))


@settings(max_examples=100)
@given(ranges())
def test_a_range_written_out_reads_back_the_same(share: PercentRange) -> None:
    assert parse_range(share.text) == share


@settings(max_examples=100)
@given(st.lists(ranges(), min_size=1, max_size=6))
def test_fitting_sums_to_100_exactly_and_stays_inside_every_range(shares: list[PercentRange]) -> None:
    fitted = fit_to_hundred(shares)
    floor = sum(s.typical if s.low is None else s.low for s in shares)
    ceiling = sum(s.typical if s.high is None else s.high for s in shares)
    assert (fitted is not None) == (floor <= 100 <= ceiling)
    assume(fitted is not None)
    assert sum(s.typical for s in fitted or ()) == 100
    assert all(s.low <= s.typical <= s.high for s in fitted or () if s.low is not None and s.high is not None)


def test_fitting_moves_each_value_the_same_part_of_its_way() -> None:
    fitted = fit_to_hundred([parse_range("50-70"), parse_range("20-30"), PercentRange(D(10))])
    assert fitted is not None
    assert [s.typical for s in fitted] == [D("63.34"), D("26.66"), D(10)]
