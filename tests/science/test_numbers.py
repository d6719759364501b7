"""One reader of typed numbers: what it takes, what it asks about, what it refuses."""

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.numbers import (
    ceil_to_step,
    figures,
    floor_to_step,
    parse_number,
    plain,
    sum_result,
    to_places,
    to_step,
)

READ = {
    "1": "1", "1.5": "1.5", "1,5": "1.5", "0,750": "0.750", "1.234": "1.234", "1234,567": "1234.567", ".5": "0.5",
    ",5": "0.5", "5.": "5", "+5": "5", "12 %": "12", "12%": "12", " 7 ": "7", "1 234,5": "1234.5",
    "12\u202f345.6": "12345.6", "1\u00a0000": "1000", "1/2": "0.5", "1 1/2": "1.5", "½": "0.5", "1½": "1.5",
    "3\u20444": "0.75", "123456789012": "123456789012", "0.00000001": "0.00000001", "007": "7",
}  # fmt: skip


SUMS = {
    "6+1": "7", "6,5+0,25": "6.75", "2*1.5": "3", "2 × 3": "6", "(3+4)/2": "3.5", "=6-1": "5", "2+3*4": "14",
    "13/2": "6.5", "0.5/4": "0.125", "6+1 %": "7", "= 1 + 1": "2", "(1+2)*(3-1)": "6",
}  # fmt: skip


@pytest.mark.parametrize(("text", "value"), SUMS.items())
def test_a_sum_is_worked_out_as_a_spreadsheet_does(text: str, value: str) -> None:
    assert parse_number(text) == Decimal(value)


@pytest.mark.parametrize(
    "text", ["6+", "1-3", "(2", "2)", "2)3", "1+1/0", "a+1", "3 (4)", "=", "=-", "1/2/2026", "=1-2"]
)
def test_a_sum_that_cannot_be_worked_out_is_refused(text: str) -> None:
    with pytest.raises(Invalid) as error:
        parse_number(text, "amount")
    assert error.value.field == "amount"


@pytest.mark.parametrize(
    ("text", "result"),
    [("6+1", "7"), ("13/2", "6.5"), ("10/3", "3.33333"), ("½", "0.5"), ("5", None), ("q.s.", None), ("2*x", None)],
)
def test_what_a_sum_comes_to_is_short_enough_for_a_cell(text: str, result: str | None) -> None:
    found = sum_result(text)
    assert (found if found is None else plain(found)) == result


@given(st.lists(st.decimals("0", "999", places=3), min_size=2, max_size=4))
def test_a_sum_of_numbers_is_their_sum(parts: list[Decimal]) -> None:
    text = "+".join(f"{part:f}" for part in parts)
    if len(text) <= 40:
        assert parse_number(text) == sum(parts, Decimal(0))


@pytest.mark.parametrize(("text", "value"), READ.items())
def test_a_number_is_read_as_people_write_it(text: str, value: str) -> None:
    assert parse_number(text) == Decimal(value)


@pytest.mark.parametrize(
    "text",
    ["NaN", "nan", "inf", "-inf", "Infinity", "1e400", "1E5", "1e-3", "1_0", "٣", "１２", "1²", "abc", "", " ", "%",
     "1 2", "1 2345", "--1", "0x10", "1.5.", "1'000", "1/0", "1/", "/2", "0" * 400, "1234567890123",
     "1.5 g", "\x00"],
)  # fmt: skip
def test_what_is_no_number_is_refused_at_its_field(text: str) -> None:
    with pytest.raises(Invalid) as error:
        parse_number(text, "lines[3].percent")
    assert error.value.field == "lines[3].percent"
    assert error.value.message.endswith(".")


@pytest.mark.parametrize(
    ("text", "offered"),
    [("1,234", ("1234", "1.234")), ("12,500", ("12500", "12.500")), ("1.234,5", ("1234,5",)), ("1,234.5", ("1234.5",))],
)
def test_a_number_with_two_readings_is_asked_about_with_both(text: str, offered: tuple[str, ...]) -> None:
    with pytest.raises(Invalid) as error:
        parse_number(text)
    for reading in offered:
        assert reading in error.value.message
        if "," in reading or "." in reading or len(offered) > 1:
            assert parse_number(reading) in (
                Decimal("1234"),
                Decimal("1.234"),
                *map(Decimal, ("12500", "12.5", "1234.5")),
            )


@pytest.mark.parametrize("text", ["-1", "-0", "\u22125", "-1/2"])
def test_a_negative_number_is_refused_unless_allowed(text: str) -> None:
    with pytest.raises(Invalid, match="negative"):
        parse_number(text)
    assert parse_number(text, low=Decimal(-20)) <= 0


def test_the_limits_themselves_are_allowed_and_the_message_gives_them() -> None:
    assert parse_number("100", high=Decimal(100)) == 100
    with pytest.raises(Invalid, match=r"the most allowed is 100\."):
        parse_number("100,01", high=Decimal(100))
    with pytest.raises(Invalid, match=r"the least allowed is 0\.1\."):
        parse_number("0", low=Decimal("0.1"))


@given(st.text(max_size=60))
@example("１")
@example("1e9999999999")
@settings(max_examples=300)
def test_any_text_gives_a_finite_number_of_at_most_twelve_figures_or_a_message(text: str) -> None:
    with suppress(Invalid):
        value = parse_number(text, low=Decimal(-(10**15)))
        assert value.is_finite()
        assert abs(value) < 10**13


@given(st.decimals(0, 10**6, places=5))
def test_writing_and_reading_give_the_number_back(value: Decimal) -> None:
    assert parse_number(plain(value)) == value
    assert parse_number(f"{value:.5f}".replace(".", ",")) == value


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("1E+3", "1000"),
        ("1E-7", "0.0000001"),
        ("-0.0", "0"),
        ("1.50", "1.5"),
        ("100", "100"),
        ("0", "0"),
        ("-1.10", "-1.1"),
    ],
)
def test_a_decimal_is_written_without_exponent_or_trailing_zeros(value: str, text: str) -> None:
    assert plain(Decimal(value)) == text


@pytest.mark.parametrize(
    ("value", "places", "wanted"), [("2.675", 2, "2.68"), ("2.665", 2, "2.67"), ("-2.675", 2, "-2.68"), ("0.5", 0, "1")]
)
def test_halves_are_rounded_up(value: str, places: int, wanted: str) -> None:
    assert to_places(Decimal(value), places) == Decimal(wanted)


@given(st.decimals(0, 10**9, places=6), st.sampled_from([Decimal(s) for s in ("0.001", "0.02", "0.5", "1", "5")]))
def test_steps_enclose_a_value(value: Decimal, step: Decimal) -> None:
    low, high, near = floor_to_step(value, step), ceil_to_step(value, step), to_step(value, step)
    assert low <= value <= high
    assert near in (low, high)
    assert abs(near - value) * 2 <= step
    assert high - low in (0, step)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [("1234.5678", 4, "1235"), ("0.0123456", 3, "0.0123"), ("0", 3, "0"), ("99999", 2, "100000")],
)
def test_figures_for_sentences(value: str, digits: int, text: str) -> None:
    assert figures(Decimal(value), digits) == text
