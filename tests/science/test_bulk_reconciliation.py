"""What became of the bulk of a packing run, by hand: 20 units of 50.5 g are 1010 of 1060 g."""

from decimal import Decimal

import pytest

from app.science.bulk_reconciliation import reconcile
from app.science.errors import Invalid

D = Decimal


def test_units_rest_and_waste_are_counted_against_what_was_taken() -> None:
    found = reconcile(D(1060), 20, D("50.5"), D(30), D("9.4"))
    assert (found.in_units_g, found.accounted_g, found.missing_g) == (1010, D("1049.4"), D("10.6"))
    assert found.percent == 99
    assert reconcile(D(1000), 20, D("50.5")).missing_g == -10


@pytest.mark.parametrize(
    ("taken", "fill", "field"), [("0", "1", "taken_g"), ("-1", "1", "taken_g"), ("1", "0", "fill_g")]
)
def test_nothing_taken_or_filled_is_refused(taken: str, fill: str, field: str) -> None:
    with pytest.raises(Invalid) as wrong:
        reconcile(D(taken), 1, D(fill))
    assert wrong.value.field == field
