"""Which price applies, and what a formula costs at its size."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Packaging, Phase, Price, Rates
from app.science.formula_cost import cost_formula, names_without_price, price_for, without_units
from app.science.weighing import weigh

D = Decimal


def paid(amount: str, grams: str, day: str = "2026-01-01") -> Price:
    return Price(D(amount), D(grams), day=date.fromisoformat(day))


def offered(amount: str, grams: str) -> Price:
    return Price(D(amount), D(grams), is_offer=True, day=date(2026, 1, 1))


DRUM, SAMPLE = paid("200", "25000", "2025-03-01"), paid("5", "10", "2026-06-01")


@pytest.mark.parametrize(
    ("prices", "grams", "wanted"),
    [
        ([], "10", None),
        ([SAMPLE], "5", SAMPLE),
        ([DRUM, SAMPLE], "15", DRUM),  # a newer sample does not set the price of a drum
        ([paid("9", "1000"), paid("12", "1000", "2026-05-01")], "15", paid("12", "1000", "2026-05-01")),
        ([paid("9", "1000"), offered("60", "25000")], "500", paid("9", "1000")),
        ([paid("9", "1000"), offered("60", "25000")], "25000", offered("60", "25000")),
        # 7 kg would cost 63 by the kilogram, the drum 60
        ([paid("9", "1000"), offered("60", "25000")], "7000", offered("60", "25000")),
        ([offered("3", "100"), offered("12", "1000")], "20", offered("3", "100")),
        ([offered("3", "100"), offered("12", "1000")], "400", offered("12", "1000")),
    ],
)
def test_the_price_follows_the_amount(prices: list[Price], grams: str, wanted: Price | None) -> None:
    assert price_for(prices, D(grams)) == wanted


prices_ = st.lists(
    st.builds(
        Price, st.decimals(0, 500, places=2), st.sampled_from([D(g) for g in (10, 100, 250, 1000, 5000, 25000)]),
        st.booleans(), st.dates(date(2025, 1, 1), date(2026, 1, 1)),
    ),
    min_size=1, max_size=6,
)  # fmt: skip


@given(prices_, st.decimals("0.01", 30000, places=2), st.decimals("0.01", 30000, places=2))
def test_a_gram_never_costs_more_because_more_is_bought(prices: list[Price], one: Decimal, other: Decimal) -> None:
    few, many = (price_for(prices, grams) for grams in sorted((one, other)))
    assert few is not None
    assert many is not None
    assert many.per_g <= few.per_g


# Worked by hand: 500 g net with 3 % loss = 515.47 g to weigh on a scale that reads 0.01 g; oil 20 % = 103.094 g at
# 0.03, water 80 % at 0.001; 10 jars of 50 g at 0.50; 30 min at 24 an hour; 10 % overhead.
OIL = Material(1, "Oil", prices=(paid("30", "1000"), offered("500", "25000")))
WATER = Material(2, "Water", prices=(paid("1", "1000"),))
FORMULA = Formula(
    phases=(Phase("A", lines=(Line("w", WATER, D(80), is_remainder=True), Line("o", OIL, D(20)))),),
    size=BatchSize(D(500), D(50), 10),
    loss_percent=D(3),
    packaging=(Packaging(1, "Jar", D(1), D(24), D(12)),),
    labour_minutes=D(30),
    price=D("11.90"),
    rates=Rates(labour_rate=D(24), overhead_percent=D(10), tax_percent=D(19)),
)


def test_a_worked_example_with_its_loss() -> None:
    found = cost_formula(FORMULA, weigh(FORMULA))
    assert found.units == 10
    assert found.batch.materials == D("412.376") * D("0.001") + D("103.094") * D("0.03")  # 3.505196
    assert (found.batch.packaging, found.batch.labour) == (5, 12)
    assert found.batch.overhead == (D("3.505196") + 17) / 10


def test_more_batches_at_once_reach_the_offer_and_nothing_gets_dearer() -> None:
    weighing = weigh(FORMULA)
    units = [cost_formula(FORMULA, weighing, n).per_unit.materials for n in (1, 10, 100, 300)]
    assert units == sorted(units, reverse=True)
    # from 16.67 kg the drum of 500 is the least
    assert units[0] == units[2] > units[3]
    assert cost_formula(FORMULA, weighing, 300).units == 3000


def test_a_price_that_was_paid_is_no_price_break() -> None:
    oil = replace(OIL, prices=(paid("30", "1000"), paid("3", "1000", "2020-01-01")))
    line = replace(FORMULA.phases[0].lines[1], material=oil)
    formula = replace(FORMULA, phases=(Phase("A", lines=(FORMULA.phases[0].lines[0], line)),))
    found = cost_formula(formula, weigh(formula), 100)
    assert found.per_unit.materials == cost_formula(FORMULA, weigh(FORMULA)).per_unit.materials


def test_what_has_no_price_is_named_once() -> None:
    bare = replace(FORMULA.phases[0].lines[1], material=replace(OIL, prices=()))
    formula = replace(FORMULA, phases=(Phase("A", lines=(FORMULA.phases[0].lines[0], bare)),))
    assert names_without_price(formula, cost_formula(formula, weigh(formula))) == ("Oil",)


def test_a_batch_that_fills_no_unit_is_said_and_still_has_a_cost() -> None:
    small = replace(FORMULA, size=BatchSize(D(20), D(50), 0))
    with pytest.raises(Invalid, match="less than one fill"):
        cost_formula(small, weigh(small))
    assert cost_formula(without_units(small), weigh(small)).batch.materials > 0
