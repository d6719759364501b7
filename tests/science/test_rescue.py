"""A rescue brings the percentages back exactly, and never asks for anything to be taken out."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.rescue import Poured, rescue

STEP = Decimal("0.01")
GRAMS = st.decimals("1", "5000", places=2)


def test_a_rescue_worked_by_hand() -> None:
    """Planned 80 + 15 + 5 g; 18 g of the second were poured: 18 / 15 = 1.2, so 96 + 18 + 6 g, 120 g in all."""
    found = rescue(
        [
            Poured("water", Decimal(80), Decimal(80), STEP),
            Poured("glycerin", Decimal(15), Decimal(18), STEP),
            Poured("gum", Decimal(5), Decimal(0), STEP),
        ]
    )
    assert found is not None
    assert (found.factor, found.total_g) == (Decimal("1.2"), Decimal(120))
    assert found.missing == {"water": Decimal(16), "gum": Decimal(6)}


@pytest.mark.parametrize("actual", ["0", "14", "15"])
def test_nothing_beyond_the_plan_is_nothing_to_rescue(actual: str) -> None:
    assert rescue([Poured("a", Decimal(15), Decimal(actual), STEP)]) is None


@given(st.lists(st.tuples(GRAMS, st.decimals("0", "3", places=2)), min_size=2, max_size=12))
def test_after_a_rescue_every_line_has_its_percentage_again(lines: list[tuple[Decimal, Decimal]]) -> None:
    poured = [
        Poured(str(n), planned, (planned * share).quantize(STEP), STEP) for n, (planned, share) in enumerate(lines)
    ]
    found = rescue(poured)
    if found is None:
        assert all(one.actual_g <= one.planned_g for one in poured)
        return
    for one in poured:
        assert found.targets[one.key] >= one.actual_g
        assert abs(found.targets[one.key] - found.factor * one.planned_g) <= STEP
        assert found.missing.get(one.key, Decimal(0)) == found.targets[one.key] - one.actual_g
