"""The session at the bench: from the readings so far to the next addition, forwards or back."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from app.science.acid_base.belief import Belief
from app.science.acid_base.charge_balance import Array
from app.science.acid_base.dosing import Dose, ph_after, plan_dose
from app.science.acid_base.model import Model, compile_model
from app.science.acid_base.refit import METER_OFFSET, SESSION_TRACE, Reading, refit
from app.science.acid_base.values import Adjuster, Mixture

OUT_OF_REACH = "Neither solution brings this batch to the target."
MEASURE_AGAIN = "All readings together say the target is met, though the last is off: stir, wait, measure once more."
ACCEPT = 0.15  # pH around the target at which the session ends


class Move(StrEnum):
    """What to do next."""

    ADD = "add"
    BACK = "back"
    DONE = "done"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Step:
    """The next step of a session.

    Attributes:
        move: add the adjuster, go back with the other solution, done, or stop because nothing reaches the target.
        which: index of the solution to add (0 adjuster, 1 way back).
        grams: what to add now, for the whole batch.
        total_grams: what the model still sees to add in all, for the whole batch, with its range.
        low_grams, high_grams: about 90 % cover of ``total_grams``.
        expected_ph: what the meter should show after this addition.
        worst_misfit: how badly the readings fit the model, in standard uncertainties.
        notes: warnings for this step.
    """

    move: Move
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
    """A pH session: the compiled batch with its adjuster and its way back, the target and the batch size."""

    model: Model
    target: float
    batch_g: float
    accept: float = ACCEPT
    meter_offset: float = METER_OFFSET


def open_session(mixture: Mixture, adjuster: Adjuster, back: Adjuster, target: float, batch_g: float) -> Session:
    """Open a session for a batch of ``batch_g`` grams of a mixture.

    Raises:
        Invalid: when there is no water, or the temperature is out of range.
    """
    return Session(compile_model(mixture, (adjuster, back), SESSION_TRACE), target, batch_g)


def next_step(session: Session, added_g: Sequence[float], readings: Sequence[Reading] = ()) -> Step:
    """Say what to do next.

    Args:
        session: the batch.
        added_g: grams added so far, (adjuster, way back).
        readings: every reading so far, with doses in grams per gram of batch.
    """
    fit = refit(session.model, readings, session.meter_offset) if readings else None
    belief = fit.belief if fit else None
    misfit = fit.worst_misfit if fit else 0.0
    before = np.array(added_g, dtype=np.float64) / session.batch_g
    if readings and abs(readings[-1].ph - session.target) <= session.accept:
        return Step(Move.DONE, 0, 0.0, 0.0, 0.0, 0.0, readings[-1].ph, misfit, _misfit_notes(misfit))
    for which, move in enumerate((Move.ADD, Move.BACK)):
        dose = plan_dose(session.model, session.target, belief, before, which)
        if dose.value:
            return _step(session, move, which, (dose, belief, before), misfit)
    words = MEASURE_AGAIN if readings and dose.value is not None else OUT_OF_REACH
    return Step(Move.STOP, 0, 0.0, 0.0, 0.0, 0.0, dose.start_ph, misfit, (words,))


def _step(session: Session, move: Move, which: int, plan: tuple[Dose, Belief | None, Array], misfit: float) -> Step:
    dose, belief, before = plan
    first = dose.first or 0.0
    after = before.copy()
    after[which] += first
    expected = float(_ph_at(session.model, after, belief))
    notes = _misfit_notes(misfit) + (_way_back_notes(session, dose) if move is Move.BACK else ())
    scale = session.batch_g
    total, low, high = (dose.value or 0.0, dose.low or 0.0, dose.high or 0.0)
    return Step(move, which, first * scale, total * scale, low * scale, high * scale, expected, misfit, notes)


def _ph_at(model: Model, doses: Array, belief: Belief | None) -> float:
    return float(ph_after(model, doses[None, :], belief)[0])


def _misfit_notes(misfit: float) -> tuple[str, ...]:
    if misfit < 3.0:
        return ()
    return (
        "The readings do not fit the formula: check the calibration, the strength of the solution and the weights.",
    )


def _way_back_notes(session: Session, dose: Dose) -> tuple[str, ...]:
    solution = session.model.adjusters[1]
    salt = session.model.added.square[1] + session.model.added.families[1].sum()
    mmol = 1000.0 * (dose.value or 0.0) * session.batch_g * float(salt)
    notes = [
        f"The target was passed. {solution.substance.inci} brings it back and leaves about {mmol:.2g} mmol of salt in "
        "the batch; add it in small parts and measure after each."
    ]
    if session.model.columns.polymers:
        notes.append("The gel thins as acid goes in, and the salt thins it for good: expect a softer gel.")
    return tuple(notes)
