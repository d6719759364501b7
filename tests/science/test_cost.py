"""What a batch costs, in exact decimals."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.cost import (
    Amounts,
    Job,
    MaterialCost,
    PackCost,
    cost,
    net_price,
    price_for_margin,
    rounded,
    units_filled,
)
from app.science.errors import Invalid

D = Decimal
# Worked by hand: 12.80 of materials, 19 jars of 50 g out of 970 g, 0.50 a jar, 1.5 h at 20, 10 % overhead on 52.30.
JOB = Job(
    lines=(MaterialCost("water", D(800), D(1), D(1000)), MaterialCost("oil", D(200), D(30), D(500))),
    packaging=(PackCost("jar", D(24), D(12)),),
    labour_minutes=D(90),
    labour_rate=D(20),
    overhead_percent=D(10),
    batch_g=D(1000),
    loss_percent=D(3),
    fill_g=D(50),
    price=D("11.90"),
    tax_percent=D(19),
)


def test_a_worked_example() -> None:
    found = cost(JOB)
    assert found.units == 19
    assert found.batch == Amounts(D("12.8"), D("9.5"), D(30), D("5.23"))
    assert found.batch.total == D("57.53")
    assert abs(found.per_unit.total * 19 - D("57.53")) < D("1e-25")
    assert [(share.id, share.percent) for share in found.shares] == [("water", D("6.25")), ("oil", D("93.75"))]
    assert found.materials_per_kg == D("12.8")
    # net price 10.00, cost 57.53 / 19
    assert found.margin_percent is not None
    assert abs(found.margin_percent - (10 - D("57.53") / 19) * 10) < D("1e-20")
    assert not found.at_least


@pytest.mark.parametrize(
    ("batch", "loss", "fill", "units"),
    [
        ("1000", "3", "50", 19),
        ("1000", "0", "50", 20),
        ("1000", "0", "50.01", 19),
        ("97", "0", "9.7", 10),
        ("100", "3", "9.7", 10),
    ],
)
def test_only_whole_fills_are_units(batch: str, loss: str, fill: str, units: int) -> None:
    assert units_filled(D(batch), D(loss), D(fill)) == units


def test_a_missing_price_is_named_and_makes_the_cost_a_least() -> None:
    unknown = MaterialCost("scent", D(5), None, D(10))
    found = cost(replace(JOB, lines=(*JOB.lines, unknown), packaging=(PackCost("lid", D(1), None),)))
    assert found.unpriced == ("scent", "lid")
    assert found.at_least
    assert found.batch.materials == D("12.8")


def test_without_a_price_there_is_no_margin_and_a_loss_is_negative() -> None:
    assert cost(replace(JOB, price=None)).margin_percent is None
    margin = cost(replace(JOB, price=D(1))).margin_percent
    assert margin is not None
    assert margin < 0


def test_materials_that_cost_nothing_have_no_share() -> None:
    free = replace(JOB, lines=(MaterialCost("water", D(1000), D(0), D(1000)),))
    assert cost(free).shares[0].percent == 0


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"batch_g": D(0)}, "batch_g"),
        ({"fill_g": D(0)}, "fill_g"),
        ({"fill_g": D(971)}, "fill_g"),
        ({"loss_percent": D(100)}, "loss_percent"),
        ({"labour_minutes": D(-1)}, "labour_minutes"),
        ({"labour_rate": D(-1)}, "labour_rate"),
        ({"overhead_percent": D(-1)}, "overhead_percent"),
        ({"price": D(0)}, "price"),
        ({"tax_percent": D(-1)}, "tax_percent"),
        ({"lines": (MaterialCost("a", D(-1), D(1), D(1)),)}, "lines[0].grams"),
        ({"lines": (MaterialCost("a", D(1), D(-1), D(1)),)}, "lines[0].price"),
        ({"lines": (MaterialCost("a", D(1), D(1), D(0)),)}, "lines[0].price_for_g"),
        ({"packaging": (PackCost("a", D(0), D(1)),)}, "packaging[0].units_per_pack"),
        ({"packaging": (PackCost("a", D(1), D(-1)),)}, "packaging[0].price"),
    ],
)
def test_what_makes_no_sense_is_told_at_its_field(change: dict[str, object], field: str) -> None:
    with pytest.raises(Invalid) as error:
        cost(replace(JOB, **change))  # type: ignore[arg-type]
    assert error.value.field == field


money = st.decimals(0, 1000, places=2)
materials = st.lists(
    st.builds(MaterialCost, st.just("m"), st.decimals(0, 5000, places=2), money, st.decimals(1, 5000, places=1)),
    min_size=1,
    max_size=6,
).map(tuple)


@given(materials, money, st.integers(2, 20))
@settings(max_examples=80)
def test_cost_is_linear_in_prices(lines: tuple[MaterialCost, ...], rate: Decimal, factor: int) -> None:
    job = replace(JOB, lines=lines, labour_rate=rate)
    dearer = replace(
        job,
        lines=tuple(replace(line, price=(line.price or D(0)) * factor) for line in lines),
        packaging=tuple(replace(pack, price=(pack.price or D(0)) * factor) for pack in job.packaging),
        labour_rate=rate * factor,
    )
    assert abs(cost(dearer).batch.total - factor * cost(job).batch.total) < D("1e-20")


@given(materials, st.integers(1, 50))
@settings(max_examples=80)
def test_cost_is_linear_in_grams(lines: tuple[MaterialCost, ...], count: int) -> None:
    job = replace(JOB, lines=lines)
    one = cost(job)
    grown = replace(job, lines=tuple(replace(line, grams=line.grams * count) for line in lines))
    assert abs(cost(grown).batch.materials - count * one.batch.materials) < D("1e-20")


@given(materials)
@settings(max_examples=80)
def test_shares_make_a_whole(lines: tuple[MaterialCost, ...]) -> None:
    found = cost(replace(JOB, lines=lines))
    total = sum(share.percent for share in found.shares)
    assert abs(total - (100 if found.batch.materials else 0)) < D("1e-20")


def test_prices_with_tax_and_margin() -> None:
    assert net_price(D("11.90"), D(19)) == 10
    assert price_for_margin(D(4), D(60), D(19)) == D("11.90")
    with pytest.raises(Invalid):
        price_for_margin(D(4), D(100))


amounts_ = st.lists(st.decimals(0, 100, places=5), min_size=1, max_size=9)


@given(amounts_, st.sampled_from([0, 2, 3]))
def test_rounded_parts_add_up_to_the_rounded_total(parts: list[Decimal], digits: int) -> None:
    total, step = sum(parts), D(1).scaleb(-digits)
    found = rounded(parts, total, digits)
    assert abs(sum(found) - total) * 2 <= step
    assert all(abs(mine - exact) <= step and mine % step == 0 for mine, exact in zip(found, parts, strict=True))


def test_halves_of_a_cent_are_rounded_up() -> None:
    assert rounded([D("2.675")], D("2.675"), 2) == (D("2.68"),)
