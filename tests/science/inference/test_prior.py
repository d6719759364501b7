"""The prior of a name: class, use range, and what the list brings."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from app.science.inference.prior import (
    Nodes,
    cell_masses,
    has_water,
    range_width,
    richness_nodes,
    share_below,
    usual_amounts,
)
from app.science.inference.values import ClassPrior, ListedName, PriorTable

OIL = ClassPrior("oil", 4.0, 1.3, bulk=True)
TABLE = PriorTable(
    {
        "oil": OIL,
        "perfume": ClassPrior("perfume", 0.3, 0.8, pinned=True),
        "water": ClassPrior("water", 50.0, 1.0),
        "other": ClassPrior("other", 1.0, 1.5, bulk=True),
    }
)
WATER = ListedName("Aqua", "water")


def twelve(name: ListedName, first: ListedName = WATER) -> list[ListedName]:
    return [first, name, *(ListedName(f"f{i}") for i in range(10))]


def test_a_class_alone_gives_its_median_at_twelve_names() -> None:
    usual = usual_amounts(twelve(ListedName("o", "oil")), TABLE)
    assert math.exp(usual.mu[1]) == pytest.approx(4.0)
    assert usual.sigma[1] == pytest.approx(1.07 * 1.3)


def test_a_use_range_pulls_the_median_and_narrows_it() -> None:
    usual = usual_amounts(twelve(ListedName("o", "oil", 2.0, 4.0)), TABLE)
    assert usual.mu[1] == pytest.approx(0.6 * math.log(4.0) + 0.4 * (0.5 * math.log(8.0) - 0.1))
    assert usual.sigma[1] == pytest.approx(1.07 * 1.3 * (math.log(2) / 2) ** 0.25)


def test_a_substance_has_its_own_level_and_a_kind_of_product_its_own() -> None:
    table = replace(TABLE, names={"O": 0.5}, kinds={("mask", "oil"): 0.7}, widths={"mask": 1.2})
    names = twelve(ListedName("o", "oil", key="O"))
    assert usual_amounts(names, table).mu[1] == pytest.approx(math.log(4.0) + 0.5)
    told = usual_amounts(names, table, kind="mask")
    assert told.mu[1] == pytest.approx(math.log(4.0) + 1.2)
    assert told.sigma[1] == pytest.approx(1.2 * 1.3)


def test_a_missing_lower_end_is_a_twentieth_of_the_upper() -> None:
    with_low = usual_amounts(twelve(ListedName("o", "oil", 0.5, 10.0)), TABLE)
    assert usual_amounts(twelve(ListedName("o", "oil", None, 10.0)), TABLE).mu[1] == pytest.approx(with_low.mu[1])


def test_long_lists_share_the_room() -> None:
    longer = [*twelve(ListedName("o", "oil")), *(ListedName(f"g{i}") for i in range(12))]
    assert usual_amounts(longer, TABLE).mu[1] == pytest.approx(math.log(4.0) - 0.3 * math.log(2))


def test_lists_without_water_hold_more_of_all_but_the_pinned() -> None:
    dry = twelve(ListedName("o", "oil"), ListedName("p", "perfume"))
    usual = usual_amounts(dry, TABLE)
    assert math.exp(usual.mu[1]) == pytest.approx(4.0 * math.exp(0.3))
    assert math.exp(usual.mu[0]) == pytest.approx(0.3)


def test_water_late_in_the_list_does_not_make_it_a_watery_one() -> None:
    assert has_water([WATER, ListedName("a")])
    assert not has_water([ListedName("a"), ListedName("b"), ListedName("c"), WATER])


def test_richness_is_integrated_only_where_there_is_water() -> None:
    assert len(richness_nodes([WATER]).shifts) == 3
    assert richness_nodes([WATER]).weights.sum() == pytest.approx(1)
    assert len(richness_nodes([ListedName("a")]).shifts) == 1


def test_masses_add_up_to_the_share_between_the_limits() -> None:
    names = twelve(ListedName("o", "oil"))
    usual, nodes = usual_amounts(names, TABLE), richness_nodes([ListedName("a")])
    edges = np.geomspace(1.0, 100.0, 111)
    low, high = np.full(12, 2.0), np.full(12, 30.0)
    masses = cell_masses(usual, edges, (low, high), nodes)
    between = share_below(usual, np.tile([2.0, 30.0], (12, 1)))
    assert masses[0].sum(axis=1) == pytest.approx(between[:, 1] - between[:, 0])


def test_a_known_value_tells_a_rich_list_from_a_poor_one_as_its_density_does() -> None:
    """15 % of an oil of which 4 % is usual: the ratio of two normal laws with a wider tail, each shifted."""
    usual = usual_amounts(twelve(ListedName("o", "oil")), TABLE)
    nodes = Nodes(np.array([-0.4, 0.5]), np.array([0.5, 0.5]))
    value = np.full(12, 15.0)
    masses = cell_masses(usual, np.geomspace(1.0, 100.0, 111), (value, value), nodes)[:, 1].sum(axis=1)

    def density(shift: float) -> float:
        off = (math.log(15.0) - usual.mu[1] - shift) / usual.sigma[1]
        return 0.85 * norm.pdf(off) + 0.15 * norm.pdf(off / 2.3) / 2.3

    assert masses[1] / masses[0] == pytest.approx(density(0.5) / density(-0.4), rel=0.01)


def test_a_known_value_has_all_its_mass_in_its_cell() -> None:
    usual, nodes = usual_amounts([WATER, ListedName("o", "oil")], TABLE), richness_nodes([ListedName("a")])
    edges = np.geomspace(1.0, 100.0, 111)
    value = np.array([50.0, 7.0])
    masses = cell_masses(usual, edges, (value, value), nodes)[0]
    for i in range(2):
        (cell,) = np.flatnonzero(masses[i])
        assert edges[cell] <= value[i] <= edges[cell + 1]


@pytest.mark.parametrize(
    ("low", "high", "width"),
    [
        (None, None, 1.0),
        (1.0, math.exp(2), 1.0),  # the range of which the width of a class is fitted
        (2.0, 4.0, (math.log(2) / 2) ** 0.25),
        (None, 1.0, (math.log(20) / 2) ** 0.25),  # without a lower end a range spans a factor of 20
        (1.0, 1.0, 0.65),
        (0.001, 100.0, 1.5),
        (0.1, 0.1 * math.exp(8), 2**0.5),
    ],
)
def test_a_wide_range_of_use_widens_and_a_narrow_one_narrows_within_limits(low, high, width) -> None:
    assert range_width(ListedName("x", "oil", low, high)) == pytest.approx(width)


def test_no_class_is_known_better_than_within_two_fifths() -> None:
    """exp(0.35) is 1.42: classes of 0.2 and 0.3 are taken alike, one of 0.4 as it is."""

    def sigma(own: float) -> float:
        table = replace(TABLE, classes={**TABLE.classes, "oil": replace(OIL, sigma=own)}, names={"O": 0.0})
        return float(usual_amounts(twelve(ListedName("o", "oil", key="O")), table).sigma[1])

    assert sigma(0.2) == sigma(0.3) < sigma(0.4) == pytest.approx(0.4)


def test_water_is_nearly_flat_with_a_little_more_at_both_ends() -> None:
    """Beta(0.7, 0.7), integrated anew: 15.2 % of all lists have less than a tenth of water, half less than half."""
    usual = usual_amounts([WATER, ListedName("a")], TABLE)
    below = share_below(usual, np.array([[10.0, 50.0, 90.0]] * 2))[0]
    x = (np.arange(100_000) + 0.5) / 100_000
    law = np.cumsum((x * (1 - x)) ** -0.3)
    assert below == pytest.approx(law[[10_000, 50_000, 90_000]] / law[-1], abs=1e-3)


def test_lists_with_water_are_richer_or_poorer_in_bulk_by_about_a_third() -> None:
    """The nodes stand for a normal law of the logarithm around 0 with a spread of 0.3; exp(0.3) is 1.35."""
    nodes = richness_nodes([WATER])
    assert nodes.weights @ nodes.shifts == pytest.approx(0)
    assert np.sqrt(nodes.weights @ nodes.shifts**2) == pytest.approx(0.3, rel=0.01)
