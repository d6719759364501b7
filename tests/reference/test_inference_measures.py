"""Evidence: draws agree with the exact posterior, measurements narrow honestly and never leave the bounds."""

import numpy as np
import pytest

from app.reference.corpus import known_lists
from app.reference.inference_measures import Narrowing, Observable, Reading, expected_narrowings, observe, physical_of
from app.reference.inference_prior import class_priors
from app.science.inference.evidence import expected_narrowing, weighted_quantiles
from app.science.inference.fit import KnownList
from app.science.inference.infer import infer, work_out
from app.science.inference.summary import stretched


def one_list(number: int) -> KnownList:
    return known_lists()[number]


@pytest.mark.parametrize("number", [5, 60, 120])
def test_draws_have_the_quantiles_of_the_exact_posterior_and_keep_order_and_sum(number: int) -> None:
    known = one_list(number)
    worked = work_out(known.names, class_priors(), kind=known.kind)
    assert worked.draws.sum(axis=1) == pytest.approx(100, abs=0.5)
    even = np.full(len(worked.draws), 1 / len(worked.draws))
    found = stretched(weighted_quantiles(worked.draws, even, (0.1, 0.5, 0.9)))
    exact = np.array([[r.band_low, r.estimate, r.band_high] for r in worked.inference.rows])
    assert np.abs(np.log10(found / exact)).max() < 0.12
    chain = worked.draws[:, [not name.colour for name in known.names]]
    above = np.minimum(chain[:, :-1], chain[:, 1:]) >= 1.2
    assert (chain[:, :-1] >= chain[:, 1:] * 0.94)[above].mean() > 0.97


def dried(known: KnownList) -> float:
    """The true loss on drying by the table's shares."""
    shares = [physical_of(n.key, n.class_name).volatile for n in known.names]
    return sum(share * percent for share, percent in zip(shares, known.percents, strict=True))


def test_a_loss_on_drying_tells_the_water_within_its_error() -> None:
    known = one_list(60)
    observed, _ = observe(known.names, {}, (Reading(Observable.DRYING, dried(known)),))
    rows = infer(known.names, class_priors(), kind=known.kind, observed=observed).rows
    before = infer(known.names, class_priors(), kind=known.kind).rows
    assert rows[0].estimate == pytest.approx(known.percents[0], abs=3)
    assert rows[0].band_high - rows[0].band_low < (before[0].band_high - before[0].band_low) / 3
    for after, was in zip(rows, before, strict=True):
        assert (after.low, after.high) == (was.low, was.high)


def test_a_reading_that_fits_nothing_is_set_aside() -> None:
    known = one_list(60)
    observed, _ = observe(known.names, {}, (Reading(Observable.DRYING, 1.0, 0.5),))
    worked = work_out(known.names, class_priors(), kind=known.kind, observed=observed)
    assert worked.unfitting == ("loss on drying",)
    assert worked.inference.rows == infer(known.names, class_priors(), kind=known.kind).rows


def test_the_line_seen_on_the_pack_caps_its_name_and_all_after_it() -> None:
    known = one_list(60)
    observed, told = observe(known.names, {}, (Reading(Observable.LINE, place=5),))
    rows = infer(known.names, class_priors(), told, kind=known.kind, observed=observed).rows
    assert all(row.high <= 1 for row in rows[5:])


def test_a_scattered_tail_says_less_of_the_small_names() -> None:
    known = one_list(60)
    observed, _ = observe(known.names, {}, (Reading(Observable.SCATTERED),))
    rows = infer(known.names, class_priors(), kind=known.kind, observed=observed).rows
    assert rows != infer(known.names, class_priors(), kind=known.kind).rows


def test_expected_narrowing_is_that_of_a_linear_observation() -> None:
    """One name seen directly with an error as large as its own spread: the band narrows to 1 / sqrt(2)."""
    rng = np.random.default_rng(3)
    draws = np.exp(rng.normal(0, 0.1, (200_000, 1)))
    assert expected_narrowing(draws, np.log(draws[:, 0]), 0.1) == pytest.approx(1 - 2**-0.5, abs=0.01)


def test_the_most_telling_measurement_stands_first_and_made_ones_are_left_out() -> None:
    known = one_list(60)
    worked = work_out(known.names, class_priors(), kind=known.kind)
    offered = expected_narrowings(known.names, worked, ())
    assert offered[0].measure is Observable.DRYING
    assert isinstance(offered[0], Narrowing)
    assert [n.share for n in offered] == sorted((n.share for n in offered), reverse=True)
    left = expected_narrowings(known.names, worked, (Reading(Observable.DRYING, 70.0),))
    assert Observable.DRYING not in {n.measure for n in left}
