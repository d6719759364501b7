"""How good the inference is, reckoned on lists so small that every figure can be worked out by hand."""

import math

import pytest

from app.science.inference.accuracy import (
    Guess,
    Left,
    answered,
    descending_middle_of_use,
    equal_steps,
    folds,
    geometric,
    kind_scores,
    line_shares,
    log10_error,
    middle_of_use,
    naive_scores,
    publisher,
    score,
    small_names,
    waterless,
    zipf,
)
from app.science.inference.fit import KnownList
from app.science.inference.values import WATER, Estimate, Inference, ListedName, PriorTable


def known(number: int, percents: tuple[float, ...] = (90.0, 10.0), **more) -> KnownList:
    names = tuple(ListedName(f"n{place}", WATER if place == 0 else "other") for place in range(len(percents)))
    texts = {"kind": "", "family": number, "publisher": "", "above_line": 2, **more}
    return KnownList(str(number), "", texts.pop("names", names), percents, (True,) * len(percents), **texts)


def left(number: int, *guesses: Guess, line_off: int = 0, **more) -> Left:
    return Left(known(number, **more), guesses, line_off)


def guess(truth: float, estimate: float, *, low=0.0, high=100.0, band=(0.0, 100.0), of="other") -> Guess:
    return Guess(truth, True, Estimate("n", low, high, estimate, *band), of)


@pytest.mark.parametrize(
    ("truth", "found", "error"),
    [(1, 10, 1), (10, 1, 1), (5, 5, 0), (0.0001, 0.001, 0), (0, 0.1, 2), (0.01, 0.00001, 1)],
)
def test_an_error_is_that_of_the_logarithm_from_a_thousandth_of_a_percent_on(truth, found, error):
    assert log10_error(truth, found) == pytest.approx(error)


def test_a_score_is_the_mean_of_what_is_kept():
    found = [
        left(1, guess(10, 1, low=5, high=10, band=(6, 9.9)), guess(1, 1, low=1, high=2, band=(1, 1))),
        left(2, guess(4, 6, low=4.1, high=9, band=(0, 9))),
    ]
    one = score("m", found)
    assert (one.method, one.values, one.lists) == ("m", 3, 2)
    assert one.points == pytest.approx((9 + 0 + 2) / 3)
    assert one.log10 == pytest.approx((1 + 0 + math.log10(1.5)) / 3)
    assert (one.in_bounds, one.in_band) == (pytest.approx(2 / 3), pytest.approx(2 / 3))
    few = score("few", found, lambda _left, one: one.truth > 3)
    assert (few.values, few.points, few.lists) == (2, 5.5, 2)
    assert math.isnan(score("none", []).points)


def test_small_and_preserving_names_are_measured_by_their_medians():
    """Preserving from 0.1 %: 0.5 / 1, 3 / 1, and 2 / 1 for the middle; small ones by the larger over the smaller."""
    found = [
        left(1, guess(1, 0.5, of="preservative"), guess(1, 3, of="paraben"), guess(0.1, 0.2, of="booster")),
        left(2, guess(0.09, 9, of="preservative"), guess(1, 9), guess(0.05, 0.01), guess(0.02, 0.08), guess(0.1, 0.1)),
    ]
    small = small_names(found)
    assert small.preserving == pytest.approx(2)
    assert small.estimated_small == pytest.approx(math.sqrt(5 * 4))
    assert small.truly_small == pytest.approx(5)


def test_the_line_is_found_exactly_or_within_one_name():
    found = [left(n, line_off=off) for n, off in enumerate((0, 0, 1, 2))]
    assert line_shares(found) == (0.5, 0.75)


def test_kinds_are_scored_by_themselves_those_with_most_lists_first():
    found = [left(1, guess(1, 2), kind="gel"), left(2, guess(1, 3), kind="cream"), left(3, guess(1, 5), kind="cream")]
    found.append(left(4, guess(1, 1)))
    assert [(one.method, one.lists, one.points) for one in kind_scores(found)] == [
        ("cream", 2, 3), ("gel", 1, 1), ("kind not told", 1, 0),
    ]  # fmt: skip


def test_a_list_is_waterless_when_no_name_is_water():
    dry = left(1, guess(1, 1), names=(ListedName("a"), ListedName("b")))
    assert waterless(dry, guess(1, 1))
    assert not waterless(left(1), guess(1, 1))


def test_lists_that_belong_together_are_never_parted_and_the_folds_are_even():
    lists = [known(n, family=n // 2, publisher="p" if n < 4 else str(n)) for n in range(8)]
    for together in (lambda one: one.family, publisher):
        parts = folds(lists, 3, together)
        assert sorted(one.id for part in parts for one in part) == [one.id for one in lists]
        home = {together(one): {place for place, part in enumerate(parts) if one in part} for one in lists}
        assert all(len(places) == 1 for places in home.values())
        assert max(map(len, parts)) - min(map(len, parts)) <= 2


def test_an_answer_is_scored_against_what_is_known_with_its_line():
    rows = (Estimate("n0", 50, 100, 80, 70, 95), Estimate("n1", 0, 50, 20, 5, 30))
    (found,) = answered([known(1)], PriorTable(), lambda _known, _table: Inference(rows, 1, (0, 1, 0)))
    assert found.line_off == 1
    assert [(g.truth, g.answer.estimate, g.class_name) for g in found.guesses] == [(90, 80, WATER), (10, 20, "other")]


def named(*uses: tuple[str, float | None, float | None]) -> list[ListedName]:
    return [ListedName("x", of, low, high) for of, low, high in uses]


def test_the_methods_that_know_less_are_worked_out_by_hand():
    four = named(*[("other", None, None)] * 4)
    assert equal_steps(four) == [40, 30, 20, 10]
    assert geometric(0.5)(four) == pytest.approx([800 / 15, 400 / 15, 200 / 15, 100 / 15])
    assert zipf(1)(four) == pytest.approx([48, 24, 16, 12])
    # sqrt(1 x 4) = 2; without a low end the range spans 20: sqrt(20 x 1) = 4.47; none at all is 0.5; water the rest.
    rows = named((WATER, None, None), ("other", 1, 4), ("other", None, 20), ("other", None, None))
    assert middle_of_use(rows) == pytest.approx([93.0279, 2, 4.4721, 0.5], abs=1e-4)
    assert descending_middle_of_use(rows) == pytest.approx([93.0279, 2, 2, 0.5], abs=1e-4)
    assert middle_of_use(rows[1:]) == pytest.approx([100 * x / 6.9721 for x in (2, 4.4721, 0.5)], abs=1e-3)
    full = named((WATER, None, None), ("other", 100, 100))
    assert middle_of_use(full) == pytest.approx([100 * 0.5 / 100.5, 100 * 100 / 100.5])


def test_the_constants_of_those_methods_are_the_best_for_their_lists():
    """A list that halves from name to name is met by a ratio of 0.5 and by no other."""
    halves = known(1, tuple(geometric(0.5)(named(*[("other", None, None)] * 5))))
    best, *_ = naive_scores([halves])
    assert best.method == "geometric, ratio, 0.5"
    assert (best.values, best.points, best.log10) == (5, pytest.approx(0, abs=1e-9), pytest.approx(0, abs=1e-9))
