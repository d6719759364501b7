"""How numbers and money are written: rounded half up, in one place."""

import re
from decimal import Decimal

import pytest

from app.documents.words import at_point, count_of, grams, places
from app.work.pricing import in_currency

D = Decimal


@pytest.mark.parametrize(
    ("value", "count", "written"),
    [
        ("2.675", 2, "2.68"),
        ("0.125", 2, "0.13"),
        ("0.5", 0, "1"),
        ("1.5", 0, "2"),
        ("2.5", 0, "3"),
        ("-0.125", 2, "-0.13"),
    ],
)
def test_decimals_are_rounded_half_up_and_not_to_even(value: str, count: int, written: str) -> None:
    assert places(D(value), count) == written


@pytest.mark.parametrize(
    ("value", "currency", "written"),
    [("0.125", "EUR", "€0.13"), ("2.665", "EUR", "€2.67"), ("0.5", "JPY", "JP¥1"), ("1.0005", "KWD", "KWD1.001")],
)
def test_money_is_rounded_half_up_to_the_decimals_of_its_currency(value: str, currency: str, written: str) -> None:
    assert in_currency(D(value), currency, "en_IE").replace("\u00a0", "") == written


def test_a_difference_stands_at_the_point_of_its_column_below_zero_as_well() -> None:
    padded = [re.sub(r"<.*?>", "", str(at_point(text, 2))) for text in ("-2.5", "+0.07", "0.00")]
    assert [len(text) - text.index(".") for text in padded] == [3, 3, 3]


@pytest.mark.parametrize(
    ("exact", "written"),
    [("907.18474", "907.18"), ("57.9641179425", "57.96"), ("0.002835", "0.00284"), ("2400", "2400"), ("0", "0")],
)
def test_a_worked_out_weight_has_no_more_digits_than_can_be_weighed(exact: str, written: str) -> None:
    """2 lb are 907.18474 g, 2 fl oz of 0.98 g/ml are 57.96 g: NIST Handbook 44, Appendix C."""
    assert grams(D(exact)) == written


def test_one_of_a_thing_is_written_in_the_singular() -> None:
    assert [count_of(n, "return") for n in (0, 1, 2)] == ["0 returns", "1 return", "2 returns"]
