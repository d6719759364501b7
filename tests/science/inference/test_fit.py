"""Fitting class priors and measuring methods."""

import math

import pytest

from app.science.inference.accuracy import equal_steps, geometric, log10_error, middle_of_use, zipf
from app.science.inference.fit import KnownList, count_by_class, fit_classes
from app.science.inference.values import ClassPrior, ListedName

STARTS = {
    "oil": ClassPrior("oil", 4.0, 1.0, bulk=True),
    "water": ClassPrior("water", 50.0, 1.0),
    "other": ClassPrior("other", 1.0, 1.5),
}


def known(percents: list[float], exact: bool = True) -> KnownList:
    """Twelve names with water first, so that the list itself shifts nothing."""
    rest = 12 - 1 - len(percents)
    names = [ListedName("Aqua", "water"), *(ListedName(f"o{i}", "oil") for i in range(len(percents)))]
    names += [ListedName(f"x{i}") for i in range(rest)]
    values = [50.0, *percents, *([1.0] * rest)]
    return KnownList("x", "cream", tuple(names), tuple(values), tuple([exact] * 12), 1)


def test_no_data_keep_the_start() -> None:
    assert fit_classes([], STARTS).of("oil") == STARTS["oil"]


def test_the_mean_is_shrunk_with_weight_three_and_the_variance_with_six() -> None:
    fitted = fit_classes([known([1.0, 9.0])], STARTS).of("oil")
    logs = [0.0, math.log(9.0)]
    assert math.log(fitted.median_percent) == pytest.approx((3 * math.log(4.0) + sum(logs)) / 5)
    spread = 2 * (math.log(9.0) / 2) ** 2
    assert fitted.sigma**2 == pytest.approx((6 * 1.0 + spread) / 8)


def test_assumed_shares_count_half() -> None:
    fitted = fit_classes([known([1.0], exact=False)], STARTS).of("oil")
    assert math.log(fitted.median_percent) == pytest.approx(3 * math.log(4.0) / 3.5)


def test_values_are_counted_by_class() -> None:
    assert count_by_class([known([1.0, 2.0])]) == {"water": 1, "oil": 2, "other": 9}


def test_an_error_of_a_factor_of_ten_is_one_and_traces_count_as_a_thousandth() -> None:
    assert log10_error(0.5, 5.0) == pytest.approx(1)
    assert log10_error(1e-6, 1e-5) == 0


def test_naive_methods_add_up_and_descend() -> None:
    names = [ListedName("Aqua", "water", 0, 95), ListedName("o", "oil", 1.0, 4.0), ListedName("x")]
    for method in (equal_steps, geometric(0.3), zipf(2.3), middle_of_use):
        assert sum(method(names)) == pytest.approx(100)
    assert equal_steps(names) == pytest.approx([50, 100 / 3, 50 / 3])
    assert middle_of_use(names) == pytest.approx([97.5, 2.0, 0.5])
