"""How numbers and money are written: rounded half up, in one place."""

from decimal import Decimal

import pytest

from app.documents.words import in_currency, places

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
