"""Weights on a batch sheet: they add up to the batch exactly, and the scales can show them."""

import json
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science import weighing
from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Phase, Solvency, remainder_percent
from app.science.scales import Scale, choose, least_resolved_g
from app.science.weighing import Weighing, weighed_batch

D = Decimal
PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "data" / "published_formulas.json").read_text(encoding="utf-8"), parse_float=Decimal
)["formulas"]
NO_LOSS = D(0)
FINE, COARSE = Scale(D("0.01"), D(200)), Scale(D(1), D(5000))


def of(key: str, percent: Decimal, *, fills: bool = False) -> Line:
    return Line(key, Material(0, key), percent, is_remainder=fills)


def lines(*shares: str | None) -> list[Line]:
    """Number the shares; None is the line to 100."""
    rest = remainder_percent(D(s) for s in shares if s is not None)
    return [of(str(i), rest if s is None else D(s), fills=s is None) for i, s in enumerate(shares)]


def weigh(
    rows: list[Line], batch_g: Decimal, scales: list[Scale] | None = None, loss_percent: Decimal = NO_LOSS
) -> Weighing:
    """Weigh lines of one phase."""
    owned = (Scale(D("0.01")),) if scales is None else tuple(scales)
    size, phase = BatchSize(batch_g), Phase("A", lines=tuple(rows))
    return weighing.weigh(Formula(phases=(phase,), size=size, scales=owned, loss_percent=loss_percent))


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
    assert (stock.strength_percent, stock.stock_g, stock.take_off_g, stock.solvent_key) == (D(2), D(1), D("0.98"), "0")
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
    oily = Phase("B", lines=(of("oil", D("39.98")), of("vitamin", D("0.02"))))
    formula = Formula(phases=(Phase("A", lines=(of("water", D(60)),)), oily), size=BatchSize(D(100)))
    advice = weighing.weigh(formula).by_key["vitamin"].advice
    assert advice is not None
    assert advice.stock is not None
    assert advice.stock.solvent_key == "oil"


def test_the_line_to_100_is_the_solvent_even_from_another_phase() -> None:
    watery = Phase("A", lines=(of("water", D(40), fills=True),))
    oily = Phase("B", lines=(of("oil", D("59.98")), of("vitamin", D("0.02"))))
    advice = weighing.weigh(Formula(phases=(watery, oily), size=BatchSize(D(100)))).by_key["vitamin"].advice
    assert advice is not None
    assert advice.stock is not None
    assert advice.stock.solvent_key == "water"


@pytest.mark.parametrize(
    ("formula", "field", "words"),
    [
        ([], "lines", "at least one"),
        (lines("50"), "lines", "50 is missing"),
        (lines("60", "41"), "lines", "take 1 away"),
    ],
)
def test_what_does_not_add_up_is_refused(formula: list[Line], field: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as error:
        weigh(formula, D(100))
    assert error.value.field == field


WATER = Material(1, "Water", (Part("Aqua", D(100)),), form="liquid", solvency=Solvency.WATER)
OLIVE = Material(2, "Olive oil", (Part("Olea Europaea Fruit Oil", D(100)),), form="liquid", solvency=Solvency.OIL)
BUTTER = Material(3, "Shea butter", (Part("Shea Butter", D(100)),), form="solid", solvency=Solvency.OIL)
SYRUP = Material(5, "Half syrup", (Part("Aqua", D(50)), Part("Glycerin", D(50))), form="liquid")
THICK_SYRUP = Material(6, "Thick syrup", (Part("Aqua", D("49.9")), Part("Glycerin", D("50.1"))), form="liquid")


@pytest.mark.parametrize(
    ("solvency", "others", "solvent"),
    [
        (Solvency.WATER, (OLIVE, WATER), "Water"),
        (Solvency.OIL, (WATER, OLIVE), "Olive oil"),
        (Solvency.OIL, (WATER, BUTTER), None),
        (Solvency.WATER, (OLIVE, BUTTER), None),
        (Solvency.NEITHER, (WATER, OLIVE), None),
        (Solvency.WATER, (OLIVE, SYRUP), "Half syrup"),
        (Solvency.WATER, (OLIVE, THICK_SYRUP), None),
    ],
)
def test_a_stock_solution_is_made_only_in_what_dissolves_the_material(
    solvency: Solvency, others: tuple[Material, Material], solvent: str | None
) -> None:
    trace = Material(4, "Trace", (Part("Trace", D(100)),), form="powder", solvency=solvency)
    rows = (
        Line("a", others[0], D(50), is_remainder=True),
        Line("b", others[1], D("49.98")),
        Line("c", trace, D("0.02")),
    )
    advice = weigh(list(rows), D(100)).by_key["c"].advice
    assert advice is not None
    assert (advice.stock.solvent if advice.stock else None) == solvent
    assert advice.smallest_batch_g == 500
    assert "If it dissolves" not in advice.text


def test_a_vessel_takes_its_part_of_a_scale() -> None:
    with_beaker = Scale(D("0.01"), D(200), vessel_g=D(120))
    assert choose(D(80), [with_beaker, COARSE]).scale == with_beaker
    assert choose(D("80.01"), [with_beaker, COARSE]).scale == COARSE
    assert choose(D(160), [with_beaker]).portions == 2


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
    rows = [of(str(i), D(item["percent_w_w"])) for i, item in enumerate(formula["items"])]
    found = weigh(rows, D(batch), [Scale(D("0.01"), D(500)), Scale(D("0.1"), D(3000))])
    assert found.total_shown_g == D(batch)
    for line in found.lines:
        step = line.scale.readability_g
        assert abs(line.shown_g - line.target_g) < 2 * step


@st.composite
def formulas(draw: st.DrawFn) -> list[Line]:
    """Make formulas of up to 12 lines that add up to 100, with or without a line to 100."""
    parts = draw(st.lists(st.integers(0, 10**5), min_size=1, max_size=12).filter(any))
    total = sum(parts)
    shares = [D(part * 100000 // total) / 1000 for part in parts]
    place = parts.index(max(parts))
    rest = 100 - sum(share for i, share in enumerate(shares) if i != place)
    filling = draw(st.booleans())
    return [of(str(i), rest if i == place else share, fills=filling and i == place) for i, share in enumerate(shares)]


steps = st.sampled_from([D(s) for s in ("0.001", "0.01", "0.02", "0.05", "0.1", "0.5", "1", "5")])
scales = st.lists(st.builds(Scale, steps, st.sampled_from([None, D(50), D(500), D(20000)])), min_size=1, max_size=3)


@given(formulas(), st.decimals("0.001", 50000, places=3), scales, st.sampled_from([D(0), D(3), D("7.5")]))
@settings(max_examples=250)
def test_shown_weights_always_sum_to_the_batch(
    formula: list[Line], batch_g: Decimal, owned: list[Scale], loss: Decimal
) -> None:
    found = weigh(formula, batch_g, owned, loss)
    assert sum(shown(found)) == found.total_shown_g == weighed_batch(batch_g, loss, owned)
    assert all(line.shown_g >= 0 for line in found.lines)
    assert sum(row.line.percent for row in found.lines) == 100
    balance = max(found.lines, key=lambda line: line.target_g)
    for line, asked in zip(found.lines, formula, strict=True):
        if line is not balance and not asked.is_remainder:
            assert line.shown_g % line.scale.readability_g == 0
            assert abs(line.shown_g - line.target_g) < line.scale.readability_g


@given(formulas(), st.integers(1, 5000), steps)
def test_on_one_scale_every_weight_is_a_step_when_the_batch_is(formula: list[Line], count: int, step: Decimal) -> None:
    found = weigh(formula, count * step, [Scale(step)])
    assert all(line.shown_g % step == 0 for line in found.lines)


@given(formulas(), st.decimals(1, 2000, places=1), scales)
@settings(max_examples=100)
def test_the_smallest_batch_advised_does_do(formula: list[Line], batch_g: Decimal, owned: list[Scale]) -> None:
    for place, line in enumerate(weigh(formula, batch_g, owned).lines):
        advice = line.advice
        if advice is not None and advice.smallest_batch_g is not None:
            grown = weigh(formula, advice.smallest_batch_g, owned).lines[place]
            assert grown.target_g >= least_resolved_g(owned)


@given(formulas(), st.decimals(1, 500, places=2), scales)
@settings(max_examples=100)
def test_a_stock_solution_carries_the_material_and_fits_its_solvent(
    formula: list[Line], batch_g: Decimal, owned: list[Scale]
) -> None:
    found = weigh(formula, batch_g, owned).by_key
    for key, line in found.items():
        stock = line.advice.stock if line.advice else None
        if stock is not None:
            assert stock.solvent_key != key
            assert stock.take_off_g <= found[stock.solvent_key].shown_g
            carried = stock.stock_g * stock.strength_percent / 100
            assert abs(carried - line.target_g) * 20 <= line.target_g
