"""Weights on a batch sheet: they add up to the batch exactly, and the scales can show them."""

import json
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.scales import Scale, choose, least_resolved_g
from app.science.weighing import LineToWeigh, Weighing, weigh, weighed_batch

D = Decimal
PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "data" / "published_formulas.json").read_text(encoding="utf-8"), parse_float=Decimal
)["formulas"]
FINE, COARSE = Scale(D("0.01"), D(200)), Scale(D(1), D(5000))


def lines(*shares: str | None) -> list[LineToWeigh]:
    """Number the shares; None is the line to 100."""
    return [LineToWeigh(str(i), None if s is None else D(s), qs=s is None) for i, s in enumerate(shares)]


def shown(weighing: Weighing) -> list[Decimal]:
    return [line.shown_g for line in weighing.lines]


def test_the_line_to_100_takes_the_rest() -> None:
    found = weigh(lines(None, "33.333", "0.555"), D(100), [Scale(D("0.1"))])
    assert shown(found) == [D("66.1"), D("33.3"), D("0.6")]
    assert found.total_shown_g == 100


def test_left_over_steps_go_to_the_largest_remainders() -> None:
    found = weigh(lines("33.36", "33.34", "33.30"), D(10), [Scale(D("0.1"))])
    assert shown(found) == [D("3.4"), D("3.3"), D("3.3")]


def test_a_batch_finer_than_the_scale_stays_exact_on_the_largest_line() -> None:
    found = weigh(lines("60", "40"), D("10.004"), [Scale(D("0.01"))])
    assert found.total_shown_g == D("10.004")
    assert shown(found)[1] == D("4.00")


def test_each_line_goes_on_the_finest_scale_that_holds_it() -> None:
    found = weigh(lines(None, "5.037", "0.02"), D(1000), [COARSE, FINE])
    assert [line.scale for line in found.lines] == [COARSE, FINE, FINE]
    assert shown(found) == [D("949.43"), D("50.37"), D("0.20")]


@pytest.mark.parametrize(
    ("grams", "scale", "portions"),
    [("200", FINE, 1), ("199.996", FINE, 1), ("200.001", COARSE, 1), ("5000", COARSE, 1), ("5001", COARSE, 2)],
)
def test_capacity_decides_the_scale_and_the_portions(grams: str, scale: Scale, portions: int) -> None:
    found = choose(D(grams), [FINE, COARSE])
    assert (found.scale, found.portions) == (scale, portions)


def test_more_than_every_scale_holds_is_weighed_in_portions() -> None:
    line = weigh(lines(None, "1"), D(12000), [FINE, COARSE]).lines[0]
    assert line.advice is not None
    assert line.advice.portions == 3


def test_loss_is_a_yield_and_not_an_overage() -> None:
    # 2400 g net with 4 % loss = 2500 g; an overage would give 2496 g
    assert weighed_batch(D(2400), D(4)) == 2500
    assert weigh(lines(None, "5"), D(2400), loss_percent=D(4)).total_shown_g == 2500
    assert weighed_batch(D(1000), D(3), [FINE]) == D("1030.93")
    assert weighed_batch(D("10.00001"), D(0)) == D("10.00001")


@pytest.mark.parametrize(("grams", "advised"), [("0.0999", True), ("0.1", False), ("0.05", True), ("0", False)])
def test_below_ten_readabilities_a_weight_is_not_resolved_within_five_percent(grams: str, advised: bool) -> None:
    line = weigh(lines(None, grams), D(100), [Scale(D("0.01"))]).lines[1]
    assert (line.advice is not None) is advised


def test_a_stock_solution_comes_with_its_numbers() -> None:
    line = weigh(lines(None, "0.02", "5"), D(100), [Scale(D("0.01"))]).lines[1]
    assert line.advice is not None
    stock = line.advice.stock
    assert stock is not None
    assert (stock.strength_percent, stock.stock_g, stock.take_off_g, stock.solvent_id) == (D(2), D(1), D("0.98"), "0")
    assert stock.make_material_g / stock.make_total_g == D("0.02")
    assert line.advice.smallest_batch_g == 500
    for figure in ("2 %", "1 g", "0.98 g", "500 g"):
        assert figure in line.advice.text


def test_without_room_for_a_stock_solution_only_a_larger_batch_is_advised() -> None:
    advice = weigh(lines("99.98", "0.02"), D("0.5"), [Scale(D("0.01"))]).lines[1].advice
    assert advice is not None
    assert advice.stock is None
    assert advice.smallest_batch_g == 500


def test_the_solvent_of_a_stock_is_the_line_to_100_or_the_largest_of_the_phase() -> None:
    formula = [
        LineToWeigh("water", D(60), phase="A"),
        LineToWeigh("oil", D("39.98"), phase="B"),
        LineToWeigh("vitamin", D("0.02"), phase="B"),
    ]
    advice = weigh(formula, D(100)).lines[2].advice
    assert advice is not None
    assert advice.stock is not None
    assert advice.stock.solvent_id == "oil"


@pytest.mark.parametrize(
    ("formula", "field", "words"),
    [
        ([], "lines", "at least one"),
        (lines("50"), "lines", "50 is missing"),
        (lines("60", "41"), "lines", "take 1 away"),
        (lines(None, None), "lines[1].qs", "'0' fills up"),
        (lines(None, "60", "60"), "lines[0].qs", "take 20 away"),
        (lines(None, "-1"), "lines[1].percent", "0 to 100"),
        ([LineToWeigh("a")], "lines[0].percent", "percentage"),
        ([LineToWeigh("a", D(1), qs=True)], "lines[0].percent", "of its own"),
        ([LineToWeigh("a", D(50)), LineToWeigh("a", D(50))], "lines[1].id", "two lines"),
    ],
)
def test_what_is_no_formula_is_told_at_its_place(formula: list[LineToWeigh], field: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as error:
        weigh(formula, D(100))
    assert error.value.field == field


@pytest.mark.parametrize(
    ("batch", "scales", "loss", "field"),
    [
        ("0", [FINE], "0", "batch_g"),
        ("-5", [FINE], "0", "batch_g"),
        ("5", [], "0", "scales"),
        ("5", [Scale(D(0))], "0", "scales[0].readability_g"),
        ("5", [FINE, Scale(D(1), D("0.5"))], "0", "scales[1].capacity_g"),
        ("5", [FINE], "100", "loss_percent"),
        ("5", [FINE], "-1", "loss_percent"),
    ],
)
def test_an_impossible_batch_or_scale_is_told_at_its_place(
    batch: str, scales: list[Scale], loss: str, field: str
) -> None:
    with pytest.raises(Invalid) as error:
        weigh(lines(None), D(batch), scales, D(loss))
    assert error.value.field == field


def test_percentages_that_repeat_without_end_are_taken_as_a_whole() -> None:
    third = "33.333333333333336"
    assert weigh(lines(third, third, third), D(100)).total_shown_g == 100


@pytest.mark.parametrize("formula", PUBLISHED, ids=lambda f: f["id"])
@pytest.mark.parametrize("batch", ["30", "250", "1234.56"])
def test_published_formulas_are_weighed_exactly(formula: dict[str, list[dict[str, Decimal]]], batch: str) -> None:
    rows = [LineToWeigh(str(i), D(item["percent_w_w"])) for i, item in enumerate(formula["items"])]
    found = weigh(rows, D(batch), [Scale(D("0.01"), D(500)), Scale(D("0.1"), D(3000))])
    assert found.total_shown_g == D(batch)
    for line in found.lines:
        step = line.scale.readability_g
        assert abs(line.shown_g - line.target_g) < 2 * step


@st.composite
def formulas(draw: st.DrawFn) -> list[LineToWeigh]:
    """Make formulas of up to 12 lines that add up to 100, with or without a line to 100."""
    parts = draw(st.lists(st.integers(0, 10**5), min_size=1, max_size=12).filter(any))
    total = sum(parts)
    shares = [D(part * 100000 // total) / 1000 for part in parts]
    place = parts.index(max(parts))
    rest = 100 - sum(share for i, share in enumerate(shares) if i != place)
    filling = draw(st.booleans())
    return [
        LineToWeigh(
            str(i), None if filling and i == place else rest if i == place else share, qs=filling and i == place
        )
        for i, share in enumerate(shares)
    ]


steps = st.sampled_from([D(s) for s in ("0.001", "0.01", "0.02", "0.05", "0.1", "0.5", "1", "5")])
scales = st.lists(st.builds(Scale, steps, st.sampled_from([None, D(50), D(500), D(20000)])), min_size=1, max_size=3)


@given(formulas(), st.decimals("0.001", 50000, places=3), scales, st.sampled_from([D(0), D(3), D("7.5")]))
@settings(max_examples=250)
def test_shown_weights_always_sum_to_the_batch(
    formula: list[LineToWeigh], batch_g: Decimal, owned: list[Scale], loss: Decimal
) -> None:
    found = weigh(formula, batch_g, owned, loss)
    assert sum(shown(found)) == found.total_shown_g == weighed_batch(batch_g, loss, owned)
    assert all(line.shown_g >= 0 for line in found.lines)
    assert sum(line.percent for line in found.lines) == 100
    balance = max(found.lines, key=lambda line: line.target_g)
    for line, asked in zip(found.lines, formula, strict=True):
        if line is not balance and not asked.qs:
            assert line.shown_g % line.scale.readability_g == 0
            assert abs(line.shown_g - line.target_g) < line.scale.readability_g


@given(formulas(), st.integers(1, 5000), steps)
def test_on_one_scale_every_weight_is_a_step_when_the_batch_is(
    formula: list[LineToWeigh], count: int, step: Decimal
) -> None:
    found = weigh(formula, count * step, [Scale(step)])
    assert all(line.shown_g % step == 0 for line in found.lines)


@given(formulas(), st.decimals(1, 2000, places=1), scales)
@settings(max_examples=100)
def test_the_smallest_batch_advised_does_do(formula: list[LineToWeigh], batch_g: Decimal, owned: list[Scale]) -> None:
    for place, line in enumerate(weigh(formula, batch_g, owned).lines):
        advice = line.advice
        if advice is not None and advice.smallest_batch_g is not None:
            grown = weigh(formula, advice.smallest_batch_g, owned).lines[place]
            assert grown.target_g >= least_resolved_g(owned)


@given(formulas(), st.decimals(1, 500, places=2), scales)
@settings(max_examples=100)
def test_a_stock_solution_carries_the_material_and_fits_its_solvent(
    formula: list[LineToWeigh], batch_g: Decimal, owned: list[Scale]
) -> None:
    found = {line.id: line for line in weigh(formula, batch_g, owned).lines}
    for line in found.values():
        stock = line.advice.stock if line.advice else None
        if stock is not None:
            assert stock.solvent_id != line.id
            assert stock.take_off_g <= found[stock.solvent_id].shown_g
            carried = stock.stock_g * stock.strength_percent / 100
            assert abs(carried - line.target_g) * 20 <= line.target_g
