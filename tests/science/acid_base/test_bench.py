"""The loop at the bench, on beakers whose truth is drawn from the stated uncertainties."""

import re
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import settings

from app.science.acid_base.bench import NextMove, expected_reading, implausible, next_step, open_session
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.dosing import ph_after
from app.science.acid_base.model import dose_system
from app.science.acid_base.refit import METER_OFFSET, READING_NOISE, MeterReading, refit

PASS = 0.3
BATCH_G = 250.0
# Of each of the six; `python3 -m app test --explore` plays 240 beakers.
BEAKERS = 40 if settings.default.max_examples > 100 else 12


@pytest.fixture(scope="module")
def scenes(mix, solution):
    """Give formulas with an adjuster, its counter-adjuster and a target."""
    citric, alkali = solution("Citric Acid", 10), solution("Sodium Hydroxide", 10)
    return [
        (mix(("Carbomer", 0.5)), alkali, citric, 6.5),
        (mix(("Carbomer", 0.4), ("Sodium Benzoate", 0.4)), solution("Triethanolamine", 20), citric, 6.0),
        (mix(("Carbomer", 0.3)), solution("Arginine", 10), citric, 5.5),
        (mix(("Lactic Acid", 5, 88)), alkali, citric, 4.0),
        (mix(("Citric Acid", 0.2)), alkali, citric, 5.5),
        (mix(("Sodium Benzoate", 0.5), ("Sodium Lactate", 1, 60)), solution("Citric Acid", 20), alkali, 5.0),
    ]


def run(session, rng, most=8):
    """Play one beaker; give the additions it took and by how much the meter or the pH passed the target."""
    theta = rng.standard_normal((1, len(session.model.inputs)))
    offset = METER_OFFSET * float(np.clip(rng.standard_normal(), -2, 2))

    def true_ph(grams):
        return float(solve(dose_system(session.model, theta, np.array([grams]) / session.batch_g)).ph[0])

    added, readings, passed = [0.0, 0.0], [], 0.0
    direction = np.sign(session.target - true_ph(added))

    def measure():
        doses = (added[0] / session.batch_g, added[1] / session.batch_g)
        readings.append(MeterReading(doses, true_ph(added) + offset + READING_NOISE * rng.standard_normal()))

    for additions in range(most + 1):
        step = next_step(session, added, readings)
        if step.move is NextMove.MEASURE:
            measure()
            step = next_step(session, added, readings)
        if step.move is NextMove.DONE:
            return additions, passed
        assert step.move in {NextMove.ADD, NextMove.BACK}
        added[step.which] += step.grams
        ph = true_ph(added)
        passed = max(passed, direction * (ph - session.target))
        measure()
    return most + 1, passed


def test_the_loop_converges_and_hardly_ever_passes(scenes):
    rng = np.random.default_rng(2024)
    sessions = [open_session(*scene, BATCH_G) for scene in scenes]
    results = [run(session, rng) for session in sessions for _ in range(BEAKERS)]
    additions = np.array([r[0] for r in results])
    assert np.mean(additions <= 4) >= 0.95
    assert max(r[1] for r in results) <= PASS


def test_a_passed_target_plans_the_correction(scenes):
    session = open_session(*scenes[0], BATCH_G)
    step = next_step(session, (4.5, 0.0), [MeterReading((4.5 / BATCH_G, 0.0), 7.6)])
    assert step.move is NextMove.BACK
    assert step.grams > 0
    assert any("gel thins" in note for note in step.notes)


def test_readings_that_fit_nothing_are_called_out(scenes):
    session = open_session(*scenes[3], BATCH_G)
    step = next_step(session, (0.0, 0.0), [MeterReading((0.0, 0.0), 3.4), MeterReading((0.0, 0.0), 3.4)])
    assert step.move is NextMove.ADD
    assert any("do not fit" in note for note in step.notes)


def test_a_reading_that_cannot_well_be_advises_nothing_until_a_second_one(scenes):
    session = open_session(*scenes[3], BATCH_G)
    expected = next_step(session, (0.0, 0.0)).expected_ph
    assert expected < 4
    typed = MeterReading((0.0, 0.0), 8.5)
    assert implausible(session, (0.0, 0.0), [], 8.5, READING_NOISE) == pytest.approx(2.1, abs=0.3)
    step = next_step(session, (0.0, 0.0), [typed])
    assert (step.move, step.grams, step.total_grams) == (NextMove.MEASURE, 0.0, 0.0)
    again = MeterReading((0.0, 0.0), 2.2)
    assert implausible(session, (0.0, 0.0), [typed], 2.2, READING_NOISE) is None
    after = next_step(session, (0.0, 0.0), [typed, again])
    alone = next_step(session, (0.0, 0.0), [again])
    assert (after.move, after.grams) == (NextMove.ADD, pytest.approx(alone.grams))


@pytest.mark.parametrize("off", [1.05, -1.05, 0.6, -0.6, 0.2])
def test_a_reading_is_asked_about_beyond_one_ph_or_four_standard_uncertainties(scenes, off):
    session = open_session(*scenes[3], BATCH_G)
    start = expected_reading(session, None, np.zeros(2))
    edge = min(1.0, max(4 * np.hypot((start.high - start.value) / NormalDist().inv_cdf(0.95), READING_NOISE), 0.3))
    found = implausible(session, (0.0, 0.0), [], start.value + off, READING_NOISE)
    assert (found is not None) == (abs(off) > edge)


def test_nothing_is_advised_before_the_first_reading_where_the_target_may_be_met_already(scenes):
    mixture, adjuster, counter, _ = scenes[3]
    start = expected_reading(open_session(mixture, adjuster, counter, 2.0, BATCH_G), None, np.zeros(2))
    inside = open_session(mixture, adjuster, counter, start.high - 0.01, BATCH_G)
    outside = open_session(mixture, adjuster, counter, start.high + 0.05, BATCH_G)
    first = next_step(inside, (0.0, 0.0))
    assert first.move is NextMove.MEASURE
    assert (first.grams, first.total_grams, first.low_grams, first.high_grams) == (0.0, 0.0, 0.0, 0.0)
    assert next_step(outside, (0.0, 0.0)).move is NextMove.ADD


def test_the_first_addition_stays_a_safe_part_after_a_start_reading(scenes):
    session = open_session(*scenes[3], BATCH_G)
    start = expected_reading(session, None, np.zeros(2)).value
    step = next_step(session, (0.0, 0.0), [MeterReading((0.0, 0.0), start)])
    assert step.grams <= 0.85 * step.total_grams


@pytest.mark.parametrize(
    ("name", "molar_mass", "acid"), [("Citric Acid", 192.12, True), ("Sodium Hydroxide", 39.997, False)]
)
def test_the_salt_of_the_correction_is_what_the_solution_brings(mix, solution, name, molar_mass, acid):
    """By hand: grams x 10 % / molar mass (CRC Handbook) mol of the acid or base stay in the batch as salt."""
    other = solution("Sodium Hydroxide" if acid else "Citric Acid", 10)
    formula = (("Carbomer", 0.5), ("Sodium Hydroxide", 0.25)) if acid else (("Lactic Acid", 5, 88),)
    session = open_session(mix(*formula), other, solution(name, 10), 5.5 if acid else 4.5, BATCH_G)
    readings = (
        [MeterReading((0.0, 0.0), 7.8), MeterReading((0.0, 0.0), 7.8)] if acid else [MeterReading((0.2, 0.0), 2.4)] * 2
    )
    step = next_step(session, (0.0, 0.0) if acid else (0.2 * BATCH_G, 0.0), readings)
    assert step.move is NextMove.BACK
    said = float(re.search(r"about ([\d.e+]+) mmol", " ".join(step.notes))[1])
    assert said == pytest.approx(1000 * step.total_grams * 0.10 / molar_mass, rel=0.06)


def test_the_fit_finds_the_inputs_that_made_the_readings(scenes):
    """Readings drawn from a known truth are met within their noise, also where the curve is flat."""
    session = open_session(*scenes[4], BATCH_G)
    theta = np.full((1, len(session.model.inputs)), 0.8)
    doses = np.array([[g / BATCH_G, 0.0] for g in (0.0, 2.0, 3.5, 4.2)])
    ph = solve(dose_system(session.model, np.repeat(theta, len(doses), axis=0), doses)).ph
    readings = [MeterReading(tuple(d), float(p)) for d, p in zip(doses, ph, strict=True)]
    fit = refit(session.model, readings)
    assert fit.is_plausible
    assert np.abs(ph_after(session.model, doses, fit.belief) - ph).max() < 0.03


def test_the_cost_of_a_fit_counts_what_the_inputs_were_moved_by(scenes):
    """A single reading far off can be met by moving the inputs; the misfit alone would not show it."""
    session = open_session(*scenes[0], BATCH_G)
    fit = refit(session.model, [MeterReading((1.0 / BATCH_G, 0.0), 7.5)])
    assert not fit.is_plausible


def test_a_reading_at_the_target_ends_the_session(scenes):
    session = open_session(*scenes[0], BATCH_G)
    step = next_step(session, (3.6, 0.0), [MeterReading((3.6 / BATCH_G, 0.0), 6.45)])
    assert step.move is NextMove.DONE
    assert step.grams == 0


@pytest.mark.parametrize(("read", "ends"), [(6.35, True), (6.65, True), (6.66, False), (6.34, False)])
def test_a_reading_within_15_hundredths_ends_the_session(scenes, read, ends):
    session = open_session(*scenes[0], BATCH_G)
    step = next_step(session, (3.6, 0.0), [MeterReading((3.6 / BATCH_G, 0.0), read)])
    assert (session.target, step.move is NextMove.DONE) == (6.5, ends)


def test_no_way_to_the_target_is_told(mix, solution):
    acid = solution("Citric Acid", 10)
    session = open_session(mix(("Carbomer", 0.5)), acid, acid, 7.0, BATCH_G)
    assert next_step(session, (0.0, 0.0)).move is NextMove.STOP
