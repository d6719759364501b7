"""Net content. Outside figures: Directive 76/211/EEC Annex I (heights, errors), 21 CFR 701.13, NIST Handbook 133."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.net_content import (
    Panel,
    PanelShape,
    judge_fills,
    metric_words,
    net_content,
    tolerance_of,
    us_words,
)
from app.science.quantities import parse_quantity

SMALL = Panel(PanelShape.RECTANGLE, Decimal(40), Decimal(50))


@pytest.mark.parametrize(
    ("content", "error"),
    [("5 g", "0.5"), ("10 g", "0.9"), ("15 ml", "1.4"), ("30 ml", "2.7"), ("50 ml", "4.5"), ("75 g", "4.5"),
     ("100 g", "4.5"), ("120 ml", "5.4"), ("150 g", "6.8"), ("200 ml", "9"), ("250 ml", "9"), ("500 g", "15"),
     ("1 l", "15"), ("2 kg", "30")],
)  # fmt: skip
def test_the_tolerable_negative_error_of_the_directive(content, error):
    assert tolerance_of(parse_quantity(content), Jurisdiction.EU) == Decimal(error)


@pytest.mark.parametrize("content", ["4.9 g", "10.1 kg"])
def test_outside_the_directive_there_is_none(content):
    assert tolerance_of(parse_quantity(content), Jurisdiction.EU) is None


def test_a_us_package_of_113_grams_may_lack_seven():
    """The published example of NIST Handbook 133, table 2-5: 7.2 g at 113 g."""
    assert tolerance_of(parse_quantity("113 g"), Jurisdiction.US) == Decimal("7.2")
    assert tolerance_of(parse_quantity("30 g"), Jurisdiction.US) == 3
    assert tolerance_of(parse_quantity("50 ml"), Jurisdiction.US) is None


@pytest.mark.parametrize(
    ("content", "eu", "us"),
    [
        ("50 g", "50 g", "Net Wt 1.76 oz (50 g)"),
        ("50 ml", "50 ml", "1.69 fl oz (50 mL)"),
        ("100 ml", "100 ml", "3.38 fl oz (100 mL)"),
        ("30 ml", "30 ml", "1.01 fl oz (30 mL)"),
        ("1.5 l", "1.5 l", "50.72 fl oz (1 qt 1 pt 2.72 fl oz) 1.5 L"),
        ("500 g", "500 g", "Net Wt 17.63 oz (1 lb 1.63 oz) 500 g"),
        ("2 oz", "56.6 g", "Net Wt 2 oz (56.6 g)"),
        ("2 fl oz", "59.1 ml", "2 fl oz (59.1 mL)"),
        ("1 lb", "453 g", "Net Wt 16 oz (1 lb) 453 g"),
    ],
)
def test_the_words_of_both_markets(content, eu, us):
    assert metric_words(parse_quantity(content)) == eu
    assert us_words(parse_quantity(content)) == us


@given(st.decimals(min_value=1, max_value=5000, places=1))
def test_no_figure_claims_more_than_is_inside(grams):
    shown = us_words(parse_quantity(f"{grams} g")).removeprefix("Net Wt ").split(" oz")[0]
    assert 0 <= grams - Decimal(shown) * Decimal("28.349523125") < Decimal("0.2835")


@pytest.mark.parametrize(
    ("content", "mm"), [("50 ml", 2), ("51 ml", 3), ("200 g", 3), ("201 g", 4), ("1 l", 4), ("1001 ml", 6)]
)
def test_eu_figures_have_the_height_of_the_directive(content, mm):
    assert net_content(parse_quantity(content), SMALL, Jurisdiction.EU).min_type_mm == mm


@pytest.mark.parametrize(
    ("panel", "inch"),
    [
        ((PanelShape.RECTANGLE, "50.8", "63.5"), Decimal(1) / 16),  # 2 x 2.5 in = 5 square inches
        ((PanelShape.RECTANGLE, "50.9", "63.5"), Decimal(1) / 8),
        ((PanelShape.RECTANGLE, "127", "127"), Decimal(1) / 8),  # 25
        ((PanelShape.RECTANGLE, "254", "254"), Decimal(3) / 16),  # 100
        ((PanelShape.RECTANGLE, "508", "508"), Decimal(1) / 4),  # 400
        ((PanelShape.RECTANGLE, "509", "508"), Decimal(1) / 2),
        ((PanelShape.CYLINDER, "50.8", "50.8"), Decimal(1) / 8),  # 0.4 x pi x 2 x 2 = 5.03
        ((PanelShape.WRAP, "159.5", "50.8"), Decimal(1) / 8),  # 0.4 x 6.28 x 2
        ((PanelShape.ROUND, "60", "60"), Decimal(1) / 16),
    ],
)
def test_us_letters_go_by_the_panel(panel, inch):
    shape, width, height = panel
    found = net_content(parse_quantity("50 g"), Panel(shape, Decimal(width), Decimal(height)), Jurisdiction.US)
    assert found.min_type_mm == inch * Decimal("25.4")


def test_less_than_five_grams_need_no_content_in_the_eu_only():
    assert net_content(parse_quantity("4.9 ml"), SMALL, Jurisdiction.EU).exempt
    assert not net_content(parse_quantity("5 g"), SMALL, Jurisdiction.EU).exempt
    assert not net_content(parse_quantity("4 g"), SMALL, Jurisdiction.US).exempt


@pytest.mark.parametrize("content", ["20 drops", "0 g", "1 pinch"])
def test_a_rough_measure_is_no_net_content(content):
    with pytest.raises(Invalid):
        net_content(parse_quantity(content), SMALL, Jurisdiction.EU)


@pytest.mark.parametrize(
    ("fills", "law", "passes"),
    [
        ([50] * 10, Jurisdiction.EU, True),
        ([49.9] * 10, Jurisdiction.EU, False),
        ([52] * 9 + [45.4], Jurisdiction.EU, False),  # one of ten is more than 2.5 %
        ([52] * 19 + [45.4], Jurisdiction.EU, True),  # one of twenty is accepted
        ([52] * 18 + [45.4, 45.4], Jurisdiction.EU, False),
        ([60] * 19 + [40.9], Jurisdiction.EU, False),  # short by more than twice 4.5
        ([52] * 19 + [46.3], Jurisdiction.US, False),  # 3.6 g allowed
        ([52] * 19 + [46.4], Jurisdiction.US, True),
    ],
)
def test_fills_by_the_packers_rules(fills, law, passes):
    assert judge_fills(parse_quantity("50 g"), [Decimal(str(f)) for f in fills], law).passes is passes


def test_fills_are_judged_in_the_measure_of_their_content():
    by_weight = judge_fills(parse_quantity("60 g"), [Decimal(61)], Jurisdiction.EU)
    by_volume = judge_fills(parse_quantity("60 ml"), [Decimal(59)], Jurisdiction.EU)
    assert by_weight.why[0] == "Mean 61 g of 1, nominal 60 g: kept."
    assert by_volume.why[:2] == ("Mean 59 ml of 1, nominal 60 ml: short.", "0 short by more than 4.5 ml; 0 allowed.")


def test_without_a_tolerance_only_a_mean_that_is_short_is_judged():
    """NIST Handbook 133 allows no shortage of the mean; its table for volumes is not among those shipped."""
    assert judge_fills(parse_quantity("50 ml"), [Decimal("49.9"), Decimal("50")], Jurisdiction.US).passes is False
    assert judge_fills(parse_quantity("50 ml"), [Decimal("40"), Decimal("60")], Jurisdiction.US) is None
    assert judge_fills(parse_quantity("50 ml"), [], Jurisdiction.US) is None


@pytest.mark.parametrize(
    ("grams", "variation"),
    [
        *[("36", "3.6"), ("36.1", "3.6"), ("54", "3.6"), ("54.1", "5.4"), ("81", "5.4"), ("117", "7.2"), ("154", "9")],
        *[("208", "10.8"), ("208.1", "12.7"), ("263", "12.7"), ("263.1", "14.5"), ("317", "14.5"), ("381", "16.3")],
        *[("426", "18.1"), ("426.1", None)],
    ],
)
def test_the_us_variation_of_a_weight_row_by_row(grams, variation):
    """NIST Handbook 133 table 2-5 (from memory; the row of 113 g agrees with a published example)."""
    found = tolerance_of(parse_quantity(f"{grams} g"), Jurisdiction.US)
    assert found == (None if variation is None else Decimal(variation))
