"""What readings teach, against the closed form of a linear model with normal errors (Tarantola, SIAM 2005)."""

import numpy as np
import pytest

from app.science.acid_base.belief import InputBelief
from app.science.acid_base.bench import Session, expected_reading
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.dosing import dose_to, ph_after, plan_dose
from app.science.acid_base.model import Model, compile_model, dose_system
from app.science.acid_base.refit import METER_OFFSET, READING_NOISE, Fit, MeterReading, refit
from app.science.acid_base.titration import curve_with_band, useful_doses

DOSES = np.array([[0.0], [0.004], [0.012]])


@pytest.fixture(scope="module")
def model(mix, solution) -> Model:
    return compile_model(mix(("Citric Acid", 0.5), ("Sodium Citrate", 0.5)), (solution("Sodium Hydroxide", 10),))


def slopes_of(model: Model) -> np.ndarray:
    """The slopes of the readings by each input in its own uncertainty, by central differences, (readings, inputs)."""
    count, step = len(model.inputs), 1e-3

    def read(theta: np.ndarray) -> np.ndarray:
        return solve(dose_system(model, np.repeat(theta[None, :], len(DOSES), axis=0), DOSES)).ph

    return np.array([(read(step * e) - read(-step * e)) / (2 * step) for e in np.eye(count)]).T


def closed_form(model: Model, off: np.ndarray, noise: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The most probable scores of the inputs and of the meter, their covariance, and the misfits that are left."""
    design = np.column_stack((slopes_of(model), np.full(len(off), METER_OFFSET))) / noise
    covariance = np.linalg.inv(design.T @ design + np.eye(design.shape[1]))
    found = covariance @ design.T @ (off / noise)
    return found, covariance, design @ found - off / noise


def fitted(model: Model, off: np.ndarray, noise: float = READING_NOISE) -> Fit:
    seen = ph_after(model, DOSES) + off
    return refit(model, [MeterReading(tuple(d), float(p), noise) for d, p in zip(DOSES, seen, strict=True)])


@pytest.mark.parametrize("off", [(0.02, 0.01, 0.02), (-0.01, 0.01, 0.0), (0.0, 0.0, 0.0)])
def test_readings_near_the_prediction_teach_what_the_linear_model_says(model: Model, off: tuple[float, ...]) -> None:
    moved = np.array(off)
    scores, covariance, misfit = closed_form(model, moved, READING_NOISE)
    found = fitted(model, moved)
    assert found.belief.centre == pytest.approx(scores[:-1], abs=0.02)
    assert found.belief.offset == pytest.approx(scores[-1] * METER_OFFSET, abs=0.002)
    assert found.worst_misfit == pytest.approx(np.abs(misfit).max(), abs=0.02)
    assert found.cost == pytest.approx(float(misfit @ misfit + scores @ scores), abs=0.05)
    assert found.readings == 3
    assert found.is_plausible
    spread = found.belief.spread @ found.belief.spread.T
    scale = np.append(np.ones(len(scores) - 1), METER_OFFSET)
    assert spread == pytest.approx(covariance * np.outer(scale, scale), abs=0.02)


def test_readings_that_disagree_widen_what_is_believed(model: Model) -> None:
    """Two readings of one beaker far apart: no input can make both, so the belief is wider than the noise would say."""
    apart = np.array([0.3, -0.3, 0.3])
    narrow, wide = fitted(model, np.zeros(3)).belief.spread, fitted(model, apart).belief.spread
    assert np.linalg.norm(wide) > 1.5 * np.linalg.norm(narrow)
    assert not fitted(model, apart).is_plausible


@pytest.mark.parametrize(
    ("readings", "cost", "plausible"), [(3, 12.7, True), (3, 12.9, False), (4, 15.3, True), (4, 15.4, False)]
)
def test_a_cost_is_believed_up_to_four_deviations_above_its_mean(readings: int, cost: float, plausible: bool) -> None:
    """By hand for three readings 3 + 4 sqrt(6) is 12.80, for four 4 + 4 sqrt(8) is 15.31."""
    belief = InputBelief(np.zeros(0), 0.0, np.zeros((1, 1)), 1.0)
    assert Fit(belief, 0.0, cost, readings).is_plausible is plausible


# A dose is the inverse of a curve


@pytest.mark.parametrize("target", [4.5, 5.0, 6.0, 7.5, 9.0])
def test_the_dose_to_a_ph_is_where_the_curve_has_it(model: Model, target: float) -> None:
    none = np.zeros((1, len(model.inputs)))
    (grams,) = dose_to(model, none, np.array([target]), np.zeros((1, 1)))
    assert float(ph_after(model, np.array([[grams]]))[0]) == pytest.approx(target, abs=1e-6)
    (rest,) = dose_to(model, none, np.array([target]), np.array([[grams / 2]]))
    assert rest == pytest.approx(grams / 2, rel=1e-4)


def test_a_dose_is_doubted_as_far_as_its_inputs_move_it(model: Model) -> None:
    """By hand: each input up and down by 1.645 of its uncertainty, the moves of the dose added by their squares."""
    plan = plan_dose(model, 6.0)
    assert plan.value is not None
    count = len(model.inputs)
    moves = []
    for e in np.eye(count):
        both = dose_to(model, 1.645 * np.array([e, -e]), np.array([6.0, 6.0]), np.zeros((2, 1))) - plan.value
        moves.append((min(*both, 0.0), max(*both, 0.0)))
    low, high = (np.linalg.norm([move[side] for move in moves]) for side in (0, 1))
    assert plan.low is not None
    assert plan.high is not None
    assert low <= plan.value - plan.low <= 2.5 * low  # the model and the meter are doubted as well
    assert high <= plan.high - plan.value <= 2.5 * high
    assert plan.nearest_ph == 6.0
    assert plan.first == pytest.approx(0.85 * plan.value)
    later = plan_dose(model, 6.0, before=np.array([plan.value / 2]))
    assert later.value == pytest.approx(plan.value / 2, rel=1e-3)
    there = plan_dose(model, plan.start_ph + 0.005)
    assert (there.value, there.first, there.nearest_ph) == (0.0, 0.0, plan.start_ph)
    down = plan_dose(model, 2.0)
    assert (down.value, down.low, down.high, down.first) == (None, None, None, None)
    assert down.nearest_ph == pytest.approx(down.start_ph)


def test_the_band_of_a_curve_is_as_wide_as_its_inputs_make_it(model: Model) -> None:
    """Where the curve is smooth the band is the quadrature of single moves, beside the model's own half width."""
    points = curve_with_band(model, np.array([0.0, 0.004, 0.012]), 100.0)
    wide = 1.645 * np.sqrt((slopes_of(model) ** 2).sum(axis=1))
    assert [p.grams for p in points] == pytest.approx([0.0, 0.4, 1.2])
    assert [p.ph for p in points] == pytest.approx(list(ph_after(model, DOSES)))
    for point, half in zip(points, wide, strict=True):
        assert point.high - point.ph == pytest.approx(np.hypot(half, 0.08), abs=0.04)
        assert point.ph - point.low == pytest.approx(np.hypot(half, 0.08), abs=0.04)


def test_a_curve_is_drawn_well_past_its_target(model: Model) -> None:
    plan = plan_dose(model, 6.0)
    assert plan.value is not None
    assert plan.high is not None
    doses = useful_doses(plan)
    assert doses[0] == 0.0
    assert doses[-1] == pytest.approx(max(1.6 * plan.value, 1.1 * min(plan.high, 2 * plan.value)))
    assert np.diff(doses) == pytest.approx(doses[-1] / (len(doses) - 1))
    assert useful_doses(plan_dose(model, 2.0))[[0, -1]] == pytest.approx([0.0, 0.2])
    assert useful_doses(plan_dose(model, plan.start_ph))[[0, -1]] == pytest.approx([0.0, 0.02])


def test_a_reading_is_expected_as_far_as_inputs_model_and_meter_are_doubted(model: Model) -> None:
    """Moves of single inputs by 1.645 of their uncertainty, the model's own half width and that of the meter."""
    found = expected_reading(Session(model, 6.0, 100.0), None, DOSES[1])
    inputs = 1.645 * np.linalg.norm(slopes_of(model)[1])
    half = np.sqrt(inputs**2 + (1.645 * METER_OFFSET) ** 2 + 0.1**2)
    assert found.value == pytest.approx(float(ph_after(model, DOSES)[1]))
    assert found.high - found.value == pytest.approx(half, rel=0.15)
    assert found.value - found.low == pytest.approx(half, rel=0.15)
