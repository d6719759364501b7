"""A dose for a batch in grams, with its curve, cautions and words: what a page or a command shows."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.science.acid_base.belief import InputBelief
from app.science.acid_base.bench import MEASURE_TWICE, Session, expected_reading, fit_notes, trusted_readings
from app.science.acid_base.cautions import cautions
from app.science.acid_base.charge_balance import Array, solve
from app.science.acid_base.dosing import LARGEST_DOSE, Dose, plan_dose
from app.science.acid_base.model import Model, compile_model, dose_system
from app.science.acid_base.prediction import list_species, predict_model
from app.science.acid_base.refit import READING_NOISE, SESSION_TRACE, MeterReading, refit
from app.science.acid_base.titration import CurvePoint, curve_with_band, useful_doses
from app.science.acid_base.validity import METER, carbonate_notes, crystal_notes, held_by, solution_notes
from app.science.acid_base.values import Adjuster, Mixture
from app.science.errors import Invalid

MUCH = 0.10  # a dose above a tenth of the batch changes the formula
HARDLY_BUFFERED = 0.6  # the safe first part is less than this share of the dose
DRY_PERCENT = 99.0
HARDLY_SOLUBLE = 1.0  # % w/w
ROUNDED_UP = 1.02  # a solution called 40 % of what dissolves to 40 % is not refused for a decimal
PAST = 0.05  # pH by which a reading must lie beyond the target to count as passed


@dataclass(frozen=True, slots=True)
class DoseAdvice:
    """A dose in grams for the whole batch.

    Attributes:
        grams: total from the start; None when the target cannot be reached with this solution.
        low_grams, high_grams: about 90 % cover.
        first_addition_g: the part that may be added now.
        remaining_g: what is left to add after the last reading; None without readings.
        curve: the titration curve with its band.
        start_ph: predicted pH of the batch as it is.
        cautions, notes: sentences for the reader.
    """

    grams: float | None
    low_grams: float | None
    high_grams: float | None
    first_addition_g: float | None
    remaining_g: float | None
    curve: tuple[CurvePoint, ...]
    start_ph: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


def ask_dose(
    mixture: Mixture,
    adjusters: Sequence[Adjuster],
    target: float,
    batch_g: float,
    readings: Sequence[tuple[float, float]] = (),
) -> DoseAdvice:
    """Plan the dose of ``adjusters[0]`` for a batch, going back with ``adjusters[1]`` when it was passed.

    Args:
        mixture: the formula.
        adjusters: the solution to add and, optionally, the one that goes the other way.
        target: pH as the meter should read it.
        batch_g: grams of batch before the addition.
        readings: (grams added so far in all, pH shown), in any order; of two at the same grams the later one last. One
            that cannot well be is asked about, as at the bench, and nothing is advised on it.

    Raises:
        Invalid: when there is no water, the temperature is out of range, or a material such as soap holds the pH.
    """
    held = held_by(mixture, target)
    if held and not readings:
        raise Invalid("mixture", held)
    model = compile_model(mixture, adjusters, SESSION_TRACE if readings else 2.5e-6)
    if not readings:
        dose = plan_dose(model, target)
        undissolved = undissolved_words(model.adjusters[0])
        if undissolved and dose.value != 0.0:
            dose = replace(dose, value=None, low=None, high=None, first=None)
            return _with_notes(_advice(model, (dose, target, batch_g), None, None), (undissolved,))
        return _advice(model, (dose, target, batch_g), None, None)
    others = (0.0,) * (len(model.adjusters) - 1)
    shown = [
        MeterReading((g / batch_g, *others), ph, READING_NOISE) for g, ph in sorted(readings, key=lambda one: one[0])
    ]
    session = Session(model, target, batch_g)
    trusted, doubtful = trusted_readings(session, shown)
    fit = refit(model, trusted) if trusted else None
    belief = fit.belief if fit else None
    whole = plan_dose(model, target, belief)
    if doubtful is not None:
        expected = expected_reading(session, belief, np.array(doubtful.doses)).value
        words = f"{doubtful.ph:g} was read where about {expected:.1f} was expected. {MEASURE_TWICE}"
        told = _with_notes(_advice(model, (whole, target, batch_g), belief, None), (words,))
        return replace(told, first_addition_g=0.0 if told.grams is not None else None)
    before = np.array(shown[-1].doses)
    left = plan_dose(model, target, belief, before)
    advice = _advice(model, (whole, target, batch_g), belief, (left, before, shown[-1].ph))
    return _with_notes(advice, fit_notes(fit))


def undissolved_words(adjuster: Adjuster) -> str:
    """Say that a solution of this strength cannot be made, for more of the substance than water dissolves.

    What is added dry (99 % or more) dissolves in the batch, unless hardly any of it does.
    """
    most = adjuster.substance.soluble_percent
    if most is None or adjuster.strength_percent <= most * ROUNDED_UP:
        return ""
    if adjuster.strength_percent >= DRY_PERCENT and most >= HARDLY_SOLUBLE:
        return ""
    return (
        f"A {adjuster.strength_percent:g} % solution of {adjuster.substance.inci} cannot be made: water dissolves "
        f"about {most:g} % at 20 °C. Ask again with a weaker one."
    )


def _with_notes(advice: DoseAdvice, notes: tuple[str, ...]) -> DoseAdvice:
    return replace(advice, notes=(*notes, *advice.notes))


def _advice(
    model: Model,
    plan: tuple[Dose, float, float],
    belief: InputBelief | None,
    rest: tuple[Dose, Array, float] | None,
) -> DoseAdvice:
    dose, target, batch_g = plan
    back = _counter_dose(model, target, belief, rest) if rest else None
    first = rest[0].first if rest else dose.first
    return DoseAdvice(
        grams=_scaled(dose.value, batch_g),
        low_grams=_scaled(dose.low, batch_g),
        high_grams=_scaled(dose.high, batch_g),
        first_addition_g=_scaled(first if first is not None else (0.0 if dose.value is not None else None), batch_g),
        remaining_g=_remaining(rest, dose, batch_g),
        curve=curve_with_band(model, useful_doses(dose), batch_g, belief),
        start_ph=dose.start_ph,
        cautions=cautions(model.adjusters[0].substance),
        notes=_notes(model, plan, rest, _scaled(back, batch_g)),
    )


def _scaled(value: float | None, batch_g: float) -> float | None:
    return None if value is None else value * batch_g


def _remaining(rest: tuple[Dose, Array, float] | None, whole: Dose, batch_g: float) -> float | None:
    """Return what is left to add: nothing when the target was passed; unknown when it cannot be reached."""
    if rest is None:
        return None
    left = rest[0].value
    if left is None and whole.value is None:
        return None
    return (left or 0.0) * batch_g


def _counter_dose(
    model: Model, target: float, belief: InputBelief | None, rest: tuple[Dose, Array, float]
) -> float | None:
    """Return the dose of the way-back solution when the last reading lies beyond the target."""
    left, before, seen = rest
    if left.value is not None or len(model.adjusters) < 2 or abs(seen - target) < PAST:
        return None
    return plan_dose(model, target, belief, before, 1).value


def _notes(
    model: Model, plan: tuple[Dose, float, float], rest: tuple[Dose, Array, float] | None, back_g: float | None
) -> tuple[str, ...]:
    dose, target, _ = plan
    notes = _reach_notes(model, dose, target) if rest is None else _reading_notes(model, rest, back_g)
    if dose.value:
        doses = np.zeros((1, len(model.adjusters)))
        doses[0, 0] = dose.value
        system = dose_system(model, np.zeros((1, len(model.inputs))), doses)
        notes += crystal_notes(model, list_species(model, system.totals[0], solve(system)))
    if dose.value is not None and dose.value > MUCH:
        notes.append("The dose is more than a tenth of the batch: use a stronger solution, or plan its water.")
    strength = predict_model(model).ionic_strength
    return (*notes, *solution_notes(model, strength), *carbonate_notes(model, target), METER)


def _reach_notes(model: Model, dose: Dose, target: float) -> list[str]:
    name = model.adjusters[0].substance.inci
    if dose.value == 0.0:
        return [f"The predicted pH is {dose.start_ph:.2f} already: no dose is needed."]
    if dose.value is None:
        if abs(dose.nearest_ph - dose.start_ph) < 0.005:
            way = "up" if target > dose.start_ph else "down"
            return [
                f"{name} does not bring the pH {way} from {dose.start_ph:.2f}, so {target:g} cannot be reached "
                f"with it; the nearest reachable pH is {dose.nearest_ph:.2f}, without any."
            ]
        return [
            f"pH {target:g} cannot be reached with this solution of {name}: the nearest reachable pH is "
            f"{dose.nearest_ph:.2f} (at {LARGEST_DOSE:g} times the batch or less)."
        ]
    if dose.first is not None and dose.first < HARDLY_BUFFERED * dose.value:
        return ["The pH moves steeply here: use a weaker solution and very small additions."]
    return []


def _reading_notes(model: Model, rest: tuple[Dose, Array, float], back_g: float | None) -> list[str]:
    left = rest[0]
    name = model.adjusters[0].substance.inci
    if left.value is not None:
        notes = [f"The model was fitted to the readings; after {name} as added so far it sees pH {left.start_ph:.2f}."]
        if left.value and left.first is not None and left.first <= 0.95 * left.value:
            share = f"{left.first / left.value:.0%}"
            notes.append(f"Of what is left, add {share} now and measure: more could carry the batch past.")
        return notes
    if back_g is None:
        return [f"No more {name} is needed, or none brings the batch there: nearest pH {left.nearest_ph:.2f}."]
    other = model.adjusters[1]
    notes = [
        f"The target was passed. To correct it, add about {back_g:.3g} g of {other.substance.inci} "
        f"{other.strength_percent:g} % in small parts, measuring after each; it leaves salt in the batch."
    ]
    if model.columns.polymers:
        notes.append("The gel thins as acid goes in, and the salt thins it for good.")
    return notes
