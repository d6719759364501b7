"""The loop at the bench, on beakers whose truth is drawn from the stated uncertainties."""

import numpy as np
import pytest

from app.science.acid_base.bench import Move, next_step, open_session
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.model import dose_system
from app.science.acid_base.refit import METER_OFFSET, READING_NOISE, Reading

PASS = 0.3
BATCH_G = 250.0
BEAKERS = 40


@pytest.fixture(scope="module")
def scenes(mix, solution):
    """Give formulas with an adjuster, the way back and a target."""
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
    for additions in range(most + 1):
        step = next_step(session, added, readings)
        if step.move is Move.DONE:
            return additions, passed
        assert step.move is not Move.STOP
        added[step.which] += step.grams
        ph = true_ph(added)
        passed = max(passed, direction * (ph - session.target))
        doses = (added[0] / session.batch_g, added[1] / session.batch_g)
        readings.append(Reading(doses, ph + offset + READING_NOISE * rng.standard_normal()))
    return most + 1, passed


def test_the_loop_converges_and_hardly_ever_passes(scenes):
    rng = np.random.default_rng(2024)
    sessions = [open_session(*scene, BATCH_G) for scene in scenes]
    results = [run(session, rng) for session in sessions for _ in range(BEAKERS)]
    additions = np.array([r[0] for r in results])
    assert np.mean(additions <= 4) >= 0.95
    assert max(r[1] for r in results) <= PASS


def test_a_passed_target_plans_the_way_back(scenes):
    session = open_session(*scenes[0], BATCH_G)
    step = next_step(session, (4.5, 0.0), [Reading((4.5 / BATCH_G, 0.0), 7.6)])
    assert step.move is Move.BACK
    assert step.grams > 0
    assert any("gel thins" in note for note in step.notes)


def test_readings_that_fit_nothing_are_called_out(scenes):
    session = open_session(*scenes[3], BATCH_G)
    step = next_step(session, (2.0, 0.0), [Reading((0.0, 0.0), 5.5), Reading((2.0 / BATCH_G, 0.0), 2.0)])
    assert any("do not fit" in note for note in step.notes)


def test_a_reading_at_the_target_ends_the_session(scenes):
    session = open_session(*scenes[0], BATCH_G)
    step = next_step(session, (3.6, 0.0), [Reading((3.6 / BATCH_G, 0.0), 6.45)])
    assert step.move is Move.DONE
    assert step.grams == 0


def test_no_way_to_the_target_is_told(mix, solution):
    acid = solution("Citric Acid", 10)
    session = open_session(mix(("Carbomer", 0.5)), acid, acid, 7.0, BATCH_G)
    assert next_step(session, (0.0, 0.0)).move is Move.STOP
