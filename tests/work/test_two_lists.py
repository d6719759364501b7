"""Two lists side by side: what is said of each name."""

import pytest

from app.science.inference.values import Estimate
from app.work.label_reading.two_lists import _change, changing_places


def answer(low: float, likely: float, high: float) -> Estimate:
    return Estimate("x", low / 2, high * 2, likely, low, high)


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        (None, answer(1, 2, 3), "new"),
        (answer(1, 2, 3), None, "gone"),
        (answer(1, 2, 3), answer(4, 5, 6), "clearly more"),
        (answer(4, 5, 6), answer(1, 2, 3), "clearly less"),
        (answer(1, 2, 4), answer(2, 3.5, 6), "likely more"),
        (answer(1, 2, 4), answer(1, 1.1, 3), "likely less"),
        (answer(1, 2, 4), answer(1, 2.5, 4), "about the same"),
    ],
)
def test_a_change_is_clear_only_where_the_bands_part(
    before: Estimate | None, after: Estimate | None, change: str
) -> None:
    assert _change(before, after) == change


@pytest.mark.parametrize(
    ("second", "swapped"),
    [("ABCD", ""), ("ABDC", "CD"), ("ADBC", "BCD"), ("BACD", "AB")],
)
def test_names_that_change_places_are_those_of_the_free_order(second: str, swapped: str) -> None:
    assert changing_places("ABCD", second) == list(swapped)
