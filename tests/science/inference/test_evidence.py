"""What a measurement says of drawn compositions, against figures worked out by hand and against simulation."""

import numpy as np
import pytest

from app.science.inference.evidence import (
    BoundMeasurement,
    DensityMeasurement,
    LinearMeasurement,
    RatioMeasurement,
    density_of,
    expected_narrowing,
    narrowing_by_outcome,
    tilt_for,
    weighted_quantiles,
    weights_of,
)
from app.science.inference.summary import closed_to_whole, quantiles, stretched

DRAWS = np.array([[80.0, 20.0], [60.0, 40.0], [50.0, 50.0]])


def test_a_measurement_costs_half_the_square_of_its_standard_deviations():
    loss = LinearMeasurement("loss on drying", np.array([1.0, 0.5]), 85.0, 5.0)
    # 90, 80 and 75 against 85: 1, 1 and 2 standard deviations
    assert loss.log_likelihood(DRAWS) == pytest.approx([-0.5, -0.5, -2.0])


def test_a_density_adds_volumes():
    """80 g of water and 20 g of an oil of 0.8 g/ml are 105 ml; 50 and 50 are 112.5 ml."""
    densities = np.array([1.0, 0.8])
    assert density_of(DRAWS, densities) == pytest.approx([100 / 105, 100 / 110, 100 / 112.5])
    seen = DensityMeasurement("density", densities, 100 / 105, 0.01)
    assert seen.log_likelihood(DRAWS) == pytest.approx(
        [0, -0.5 * (100 / 105 - 100 / 110) ** 2 / 1e-4, -0.5 * 40.3124], rel=1e-3
    )


def test_a_bound_costs_only_beyond_its_ends():
    bound = BoundMeasurement("fat", np.array([0.0, 1.0]), 25.0, 45.0, 5.0)
    assert bound.log_likelihood(DRAWS) == pytest.approx([-0.5, 0, -0.5])


def test_a_ratio_is_read_off_its_logarithm():
    ratio = RatioMeasurement("base over acid", 0, 1, 4.0, np.log(2))
    # 4, 1.5 and 1: nothing, 1.415 and 2 doublings away
    assert ratio.log_likelihood(DRAWS) == pytest.approx([0, -0.5 * np.log2(4 / 1.5) ** 2, -2])


def test_a_sum_is_laid_on_the_name_that_varies_most():
    draws = np.array([[70.0, 1.0], [80.0, 3.0], [90.0, 2.0]])
    measured = LinearMeasurement("loss", np.array([0.5, 1.0]), 45.0, 0.3)
    place, tilt = tilt_for(measured, draws)
    # the rest is 2 ± 0.8165 in the mean: (45 - 2) / 0.5 = 86, within hypot(0.3, 0.8165) / 0.5
    assert (place, tilt.centre) == (0, pytest.approx(86))
    assert tilt.sigma == pytest.approx(np.hypot(0.3, np.sqrt(2 / 3)) / 0.5)
    assert tilt_for(LinearMeasurement("none", np.zeros(2), 1.0, 1.0), draws) is None


def test_weights_are_likelihoods_that_sum_to_one_with_what_a_tilt_said_taken_off():
    loss = LinearMeasurement("loss", np.array([1.0, 0.0]), 80.0, 20.0)
    by_hand = np.exp(-0.5 * np.array([0.0, 1.0, 1.5]) ** 2)
    assert weights_of([loss], DRAWS, {}) == pytest.approx(by_hand / by_hand.sum())
    told = {0: lambda x: np.exp(-0.5 * ((x - 80.0) / 20.0) ** 2)}
    assert weights_of([loss], DRAWS, told) == pytest.approx([1 / 3] * 3)
    # A reading that no draw comes near still tells which is nearest.
    far = LinearMeasurement("loss", np.array([1.0, 0.0]), 200.0, 1.0)
    nearest = int(np.argmax(DRAWS[:, 0]))
    assert weights_of([far], DRAWS, {})[nearest] == pytest.approx(1.0)


def test_quantiles_of_weighted_draws_lie_between_them_in_the_logarithm():
    draws = np.array([[1.0], [100.0]])
    middle = weighted_quantiles(draws, np.array([0.5, 0.5]), (0.25, 0.5, 0.75))
    assert middle == pytest.approx(np.array([[1.0, 10.0, 100.0]]))


def test_the_narrowing_of_a_reading_is_that_of_a_normal_law():
    """Where ln x and the reading go together, an error as large as the spread makes r² 1/2 and the narrowing 1 - √½."""
    rng = np.random.default_rng(3)
    logs = rng.normal(size=4000)
    draws = np.exp(np.column_stack((logs, rng.normal(size=4000))))
    assert expected_narrowing(draws[:, :1], logs, 1e-9) == pytest.approx(1, abs=1e-3)
    assert expected_narrowing(draws[:, :1], logs, float(logs.std())) == pytest.approx(1 - 0.5**0.5, abs=1e-3)
    assert expected_narrowing(draws[:, 1:], logs, 1e-9) == pytest.approx(0, abs=0.01)
    assert expected_narrowing(np.ones((4, 2)), np.arange(4.0), 1.0) == 0


def test_the_narrowing_of_outcomes_is_the_spread_they_leave():
    """Two outcomes that part four draws into pairs of equal values leave nothing; one that says nothing leaves all."""
    draws = np.exp(np.array([[0.0], [0.0], [2.0], [2.0]]))
    assert narrowing_by_outcome(draws, np.array([[1.0, 1, 0, 0], [0, 0, 1, 1]])) == pytest.approx(1)
    assert narrowing_by_outcome(draws, np.ones((2, 4))) == pytest.approx(0)
    assert narrowing_by_outcome(draws, np.array([[1.0, 1, 1, 1], [0, 0, 0, 0]])) == pytest.approx(0)
    assert narrowing_by_outcome(np.ones((4, 1)), np.ones((1, 4))) == 0
    # Likelihoods have no size of their own.
    assert narrowing_by_outcome(draws, np.array([[1.0, 1, 0, 0], [0, 0, 1, 1]]) / 100) == pytest.approx(1)
    # 0, 0, 2 in one outcome (spread 0.9428), 2 alone in the other: 3/4 of 0.9428 of 1 is left.
    assert narrowing_by_outcome(draws, np.array([[1.0, 1, 1, 0], [0, 0, 0, 1]])) == pytest.approx(
        1 - 0.75 * 0.9428, abs=1e-3
    )


def test_quantiles_of_masses_are_log_linear_inside_a_cell():
    """A mass of one cell from 1 to 100: its tenth lies a tenth of the way in the logarithm."""
    edges = np.array([0.01, 1.0, 100.0])
    found = quantiles(np.array([[0.0, 2.0], [1.0, 1.0]]), edges)
    assert found[0] == pytest.approx([100**0.1, 10, 100**0.9])
    assert found[1] == pytest.approx([0.01 * 100**0.2, 1.0, 100**0.8])


def test_bands_are_stretched_and_more_so_in_long_lists():
    short = stretched(np.array([[1.0, 10.0, 100.0]] * 12))
    assert short[0] == pytest.approx([10 * 0.1**1.06, 10, 10 * 10**1.08])
    long = stretched(np.array([[1.0, 10.0, 100.0]] * 192))
    assert long[0] == pytest.approx([10 * 0.1 ** (1.06 * 2), 10, 10 * 10 ** (1.08 * 2)])


def test_estimates_are_moved_to_a_hundred_by_the_square_of_their_doubt_within_their_bounds():
    middle, width = np.array([70.0, 20.0, 4.0]), np.array([2.0, 1.0, 0.0])
    low, high = np.zeros(3), np.full(3, 100.0)
    # 6 are missing: four fifths and one fifth of them
    assert closed_to_whole(middle, width, low, high) == pytest.approx([74.8, 21.2, 4])
    assert closed_to_whole(middle + 2, width, low, high) == pytest.approx([72, 22, 6])
    assert closed_to_whole(middle + 7, width, low, high) == pytest.approx([77 - 12, 27 - 3, 11])
    tight = np.array([72.0, 100.0, 100.0])
    assert closed_to_whole(middle, width, low, tight) == pytest.approx([72, 24, 4])
    assert closed_to_whole(middle, width, low, np.array([72.0, 21.0, 100.0])) == pytest.approx([72, 21, 7])
