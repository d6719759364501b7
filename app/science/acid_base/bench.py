"""The session at the bench: from the readings so far to the next addition, forwards or back."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from app.science.acid_base.belief import InputBelief
from app.science.acid_base.charge_balance import Array, solve
from app.science.acid_base.dosing import Dose, ph_after, plan_dose
from app.science.acid_base.inputs import COVERAGE
from app.science.acid_base.model import Model, compile_model, dose_system
from app.science.acid_base.refit import METER_OFFSET, SESSION_TRACE, Fit, MeterReading, refit
from app.science.acid_base.validity import model_half_width
from app.science.acid_base.values import Adjuster, Mixture, Range

OUT_OF_REACH = "Neither solution brings this batch to the target."
MEASURE_AGAIN = "All readings together say the target is met, though the last is off: stir, wait, measure once more."
MEASURE_TWICE = "The last reading is far from what was expected. Measure again: a second reading decides."
MEASURE_FIRST = "By the prediction the batch may be at its target already. Measure first."
ACCEPT = 0.15  # pH around the target at which the session ends
BINARY = 1e-9  # pH: 6.65 - 6.5 comes out a trace above 0.15 in binary numbers
FAR = 1.0  # pH from the expected reading at which a reading is asked about (common practice)
FAR_SIGMAS = 4.0  # the same in standard uncertainties
LEAST_FAR = 0.3  # pH below which no reading is asked about
FEW = 8  # readings up to which each one teaches the model before the next is judged; beyond, every eighth part more
AGREE = 0.3  # pH within which a second reading confirms the first
WORST_MISFIT = 3.0  # standard uncertainties of one reading above which something else is wrong


class NextMove(StrEnum):
    """What to do next."""

    ADD = "add"
    BACK = "back"
    MEASURE = "measure"
    DONE = "done"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class BenchStep:
    """The next step of a session.

    Attributes:
        move: add the adjuster, go back with the other solution, measure before anything is advised, done, or stop
            because nothing reaches the target.
        which: index of the solution to add (0 adjuster, 1 counter-adjuster).
        grams: what to add now, for the whole batch.
        total_grams: what the model still sees to add in all, for the whole batch, with its range.
        low_grams, high_grams: about 90 % cover of ``total_grams``.
        expected_ph: what the meter should show after this addition.
        worst_misfit: how badly the readings fit the model, in standard uncertainties.
        notes: warnings for this step.
    """

    move: NextMove
    which: int
    grams: float
    total_grams: float
    low_grams: float
    high_grams: float
    expected_ph: float
    worst_misfit: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Session:
    """A pH session: the compiled batch with its adjuster and the one that goes the other way, target and batch size."""

    model: Model
    target: float
    batch_g: float
    accept: float = ACCEPT
    meter_offset: float = METER_OFFSET


def open_session(mixture: Mixture, adjuster: Adjuster, counter: Adjuster, target: float, batch_g: float) -> Session:
    """Return a session for a batch of ``batch_g`` grams of a mixture.

    Raises:
        Invalid: when there is no water, or the temperature is out of range.
    """
    return Session(compile_model(mixture, (adjuster, counter), SESSION_TRACE), target, batch_g)


def next_step(session: Session, added_g: Sequence[float], readings: Sequence[MeterReading] = ()) -> BenchStep:
    """Return what to do next.

    Nothing is advised on a reading that cannot well be until a second one stands beside it, nor before the first
    reading where the prediction already holds the target.

    Args:
        session: the batch.
        added_g: grams added so far, (adjuster, counter-adjuster).
        readings: every reading so far, with doses in grams per gram of batch.
    """
    before = np.array(added_g, dtype=np.float64) / session.batch_g
    trusted, doubtful = trusted_readings(session, readings)
    fit = refit(session.model, trusted, session.meter_offset) if trusted else None
    belief = fit.belief if fit else None
    misfit = fit.worst_misfit if fit else 0.0
    expected = expected_reading(session, belief, before)
    if doubtful is not None:
        return BenchStep(NextMove.MEASURE, 0, 0.0, 0.0, 0.0, 0.0, expected.value, misfit, (MEASURE_TWICE,))
    if not trusted and expected.low <= session.target <= expected.high:
        return BenchStep(NextMove.MEASURE, 0, 0.0, 0.0, 0.0, 0.0, expected.value, misfit, (MEASURE_FIRST,))
    if trusted and trusted[-1] is readings[-1] and abs(readings[-1].ph - session.target) <= session.accept + BINARY:
        return BenchStep(NextMove.DONE, 0, 0.0, 0.0, 0.0, 0.0, readings[-1].ph, misfit, fit_notes(fit))
    for which, move in enumerate((NextMove.ADD, NextMove.BACK)):
        dose = plan_dose(session.model, session.target, belief, before, which)
        if dose.value:
            return _step(session, move, which, (dose, belief, before), fit)
    words = MEASURE_AGAIN if trusted and dose.value is not None else OUT_OF_REACH
    return BenchStep(NextMove.STOP, 0, 0.0, 0.0, 0.0, 0.0, dose.start_ph, misfit, (*fit_notes(fit), words))


def trusted_readings(
    session: Session, readings: Sequence[MeterReading]
) -> tuple[list[MeterReading], MeterReading | None]:
    """Return the readings to believe, and the last one where it still waits for a second.

    A reading far from what the ones before it lead to is believed once another at the same doses agrees with it; one
    that the next reading does not confirm is left out.
    """
    trusted: list[MeterReading] = []
    doubtful: MeterReading | None = None
    belief: InputBelief | None = None
    learnt_from = 0
    for reading in readings:
        if len(trusted) >= learnt_from + max(1, learnt_from // FEW):
            belief = refit(session.model, trusted, session.meter_offset).belief
            learnt_from = len(trusted)
        if doubtful is not None and _agree(doubtful, reading):
            trusted += [doubtful, reading]
            doubtful = None
        elif _is_far(session, belief, reading):
            doubtful = reading
        else:
            trusted.append(reading)
            doubtful = None
    return trusted, doubtful


def implausible(
    session: Session, added_g: Sequence[float], readings: Sequence[MeterReading], ph: float, noise: float
) -> float | None:
    """Return the pH that was expected where a reading lies more than 1 pH or four standard uncertainties off it.

    None where the reading can well be, or confirms the one before it.

    Args:
        session: the batch.
        added_g: grams added so far, (adjuster, counter-adjuster).
        readings: the readings before this one.
        ph, noise: the reading and its standard uncertainty.
    """
    doses = tuple(grams / session.batch_g for grams in added_g)
    reading = MeterReading(doses, ph, noise)
    trusted, doubtful = trusted_readings(session, readings)
    belief = refit(session.model, trusted, session.meter_offset).belief if trusted else None
    if (doubtful is not None and _agree(doubtful, reading)) or not _is_far(session, belief, reading):
        return None
    return expected_reading(session, belief, np.array(doses)).value


def expected_reading(session: Session, belief: InputBelief | None, doses: Array) -> Range:
    """Return what the meter should show after doses (A,), grams per gram of batch, with about 90 % cover."""
    believed = belief or InputBelief.prior(session.model)
    theta, offsets = believed.rows()
    solved = solve(dose_system(session.model, theta, np.repeat(doses[None, :], theta.shape[0], axis=0)))
    ph = solved.ph + offsets
    moves = (ph[1:] - ph[0]).reshape(2, -1)
    half = believed.model_share * model_half_width(float(solved.ionic_strength[0]))
    own = COVERAGE * session.meter_offset if belief is None else 0.0
    down = math.sqrt(float((np.minimum(moves.min(axis=0), 0.0) ** 2).sum()) + half**2 + own**2)
    up = math.sqrt(float((np.maximum(moves.max(axis=0), 0.0) ** 2).sum()) + half**2 + own**2)
    return Range(float(ph[0]), float(ph[0]) - down, float(ph[0]) + up)


def _is_far(session: Session, belief: InputBelief | None, reading: MeterReading) -> bool:
    expected = expected_reading(session, belief, np.array(reading.doses))
    off = reading.ph - expected.value
    wide = (expected.high - expected.value if off > 0 else expected.value - expected.low) / COVERAGE
    return abs(off) > min(FAR, max(FAR_SIGMAS * math.hypot(wide, reading.noise), LEAST_FAR))


def _agree(one: MeterReading, other: MeterReading) -> bool:
    return np.allclose(one.doses, other.doses) and abs(one.ph - other.ph) <= max(AGREE, 2 * (one.noise + other.noise))


def _step(
    session: Session, move: NextMove, which: int, plan: tuple[Dose, InputBelief | None, Array], fit: Fit | None
) -> BenchStep:
    dose, belief, before = plan
    first = dose.first or 0.0
    after = before.copy()
    after[which] += first
    expected = float(ph_after(session.model, after[None, :], belief)[0])
    notes = fit_notes(fit) + (_correction_notes(session, dose, fit) if move is NextMove.BACK else ())
    scale = session.batch_g
    total, low, high = (dose.value or 0.0, dose.low or 0.0, dose.high or 0.0)
    misfit = fit.worst_misfit if fit else 0.0
    return BenchStep(move, which, first * scale, total * scale, low * scale, high * scale, expected, misfit, notes)


def fit_notes(fit: Fit | None) -> tuple[str, ...]:
    """Return what to check where the readings do not go with the formula: nothing where they do, or are none."""
    if fit is None or (fit.is_plausible and fit.worst_misfit < WORST_MISFIT):
        return ()
    return (
        "The readings do not fit the formula: check the calibration, the strength of the solution and the weights.",
    )


def _correction_notes(session: Session, dose: Dose, fit: Fit | None) -> tuple[str, ...]:
    solution = session.model.adjusters[1]
    salt = session.model.added.square[1] + session.model.added.families[1].sum()
    mmol = 1000.0 * (dose.value or 0.0) * session.batch_g * float(salt)
    passed = "The target was passed." if fit else "By the prediction the batch lies beyond the target already."
    notes = [
        f"{passed} {solution.substance.inci} brings it back and leaves about {mmol:.2g} mmol of salt in "
        "the batch; add it in small parts and measure after each."
    ]
    if session.model.columns.polymers:
        notes.append("The gel thins as acid goes in, and the salt thins it for good: expect a softer gel.")
    return tuple(notes)
