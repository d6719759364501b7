"""Fitting class priors and measuring methods."""

import math
from dataclasses import replace

import pytest

from app.science.inference.accuracy import equal_steps, geometric, log10_error, middle_of_use, zipf
from app.science.inference.fit import CLASS, PENALTIES, KnownList, count_by_class, fit_priors
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
    assert fit_priors([], STARTS).of("oil") == STARTS["oil"]


def solved_by_hand(percents: list[float], weight: float) -> float:
    """The ridge estimate of one class level by its normal equation, all other columns absent."""
    logs = [math.log(p / 4.0) for p in percents]
    return weight * sum(logs) / (PENALTIES[CLASS] + weight * len(logs))


@pytest.mark.parametrize(("exact", "weight"), [(True, 1.0), (False, 0.5)])
def test_a_class_level_is_shrunk_by_its_penalty_and_assumed_shares_count_half(exact: bool, weight: float) -> None:
    fitted = fit_priors([known([2.0, 8.0, 16.0], exact=exact)], STARTS).of("oil")
    assert math.log(fitted.median_percent / 4.0) == pytest.approx(solved_by_hand([2.0, 8.0, 16.0], weight), rel=1e-6)


def test_a_substance_seen_often_keeps_more_of_its_own_level() -> None:
    def shift(times: int) -> float:
        lists = [
            replace(known([4.0, 4.0]), names=named("o0"), percents=(50.0, 1.0, *([4.0] * 10))) for _ in range(times)
        ]
        return fit_priors(lists, STARTS).names["o0"]

    assert shift(8) < shift(1) < 0


def named(key: str) -> tuple[ListedName, ...]:
    """Water, one oil with a key, ten oils without."""
    return (ListedName("Aqua", "water"), ListedName(key, "oil", key=key), *(ListedName("o", "oil") for _ in range(10)))


def test_a_kind_of_product_begins_at_its_start_and_moves_with_its_lists() -> None:
    begun = {("mask", "oil"): 1.0}
    assert fit_priors([], STARTS, begun).kinds == begun
    low = [replace(known([1.0] * 11), kind="mask")]
    assert fit_priors(low, STARTS, begun).kinds["mask", "oil"] < 1.0


def test_long_lists_teach_crowding() -> None:
    short, long = known([8.0] * 11), known([2.0] * 11)
    many = replace(long, names=(*long.names, *long.names[1:]), percents=(50.0, *([2.0] * 22)), exact=(True,) * 23)
    assert fit_priors([short] * 5 + [many] * 5, STARTS).of("oil").crowding < STARTS["oil"].crowding


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
