"""A pH session as it stands: what was added and read, what the model has learned, and the next step."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.neutralisers import way_back
from app.science.acid_base.bench import ACCEPT, Move, Step, next_step, open_session
from app.science.acid_base.bench import Session as Model
from app.science.acid_base.cautions import cautions
from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.refit import METER_OFFSET, READING_NOISE, Reading, refit
from app.science.acid_base.titration import CurvePoint, curve_with_band, useful_doses
from app.science.acid_base.values import Adjuster
from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.bench_ph import EntryKind, PhEntry, PhSession
from app.work.formulas.shelf import Shelf, read_shelf
from app.work.ph.beaker import beaker_of, shelf_of_batch
from app.work.ph.mixture import mixture_of
from app.work.ph.solutions import Solution, as_solution, solutions_on_shelf

COVER_90 = 1.645
LEAST_WEIGHABLE_G = 0.02
COLDEST, HOTTEST = Decimal(0), Decimal(80)
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Row:
    """One entry with what had been added when it was made."""

    entry: PhEntry
    material: str
    total_g: Decimal


@dataclass(frozen=True, slots=True)
class State:
    """A session as the pages show it.

    Attributes:
        solution: what is added; ``back`` the way back, with ``back_on_shelf`` None while it is not on the shelf.
        added_g, back_g: grams of either so far.
        rows: every entry, in order.
        step: what to do next; None with ``why_not`` when the model cannot speak of this batch.
        curve: as predicted before the first reading; ``refitted`` after the last one.
    """

    record: PhSession
    solution: Solution
    back: Adjuster
    back_on_shelf: Solution | None
    rows: tuple[Row, ...]
    added_g: Decimal
    back_g: Decimal
    step: Step | None
    why_not: str
    curve: tuple[CurvePoint, ...]
    refitted: tuple[CurvePoint, ...]

    @property
    def last(self) -> PhEntry | None:
        """The entry made last."""
        return self.record.entries[-1] if self.record.entries else None

    @property
    def waits_for_reading(self) -> bool:
        """Whether something was added since the last reading."""
        return self.last is not None and self.last.kind is EntryKind.ADDITION

    @property
    def met_by_the_model(self) -> bool:
        """Whether nothing is left to add because the model, not the last reading, sees the target met."""
        step = self.step
        return step is not None and step.move is Move.STOP and abs(step.expected_ph - self.target) <= ACCEPT

    @property
    def too_little_to_weigh(self) -> bool:
        """Whether the next addition is smaller than a bench scale shows."""
        return self.step is not None and 0 < self.step.grams < LEAST_WEIGHABLE_G

    @property
    def target(self) -> float:
        """The pH that is wanted."""
        return float(self.record.target_ph)

    @property
    def expected_ph(self) -> float | None:
        """What the model sees at what was added so far, read off the curve; None without one."""
        curve = self.refitted or self.curve
        if not curve or self.back_g > 0:
            return None
        return min(curve, key=lambda point: abs(point.grams - float(self.added_g))).ph

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of what is added next."""
        going_back = self.step is not None and self.step.which == 1
        return cautions((self.back if going_back else self.solution.adjuster).substance)


def sessions_of(session: Session, batch_id: int) -> list[PhSession]:
    """List the pH sessions of a batch, oldest first."""
    asked = select(PhSession).where(PhSession.batch_id == batch_id).order_by(PhSession.id)
    return list(session.scalars(asked))


def state_of(session: Session, batch: Batch, record: PhSession, *, curves: bool = True) -> State:
    """Work out how a session stands."""
    solution = _solution(session, record.material_id)
    back = _way_back(session, record, solution)
    adjuster = back.adjuster if back else way_back(solution.adjuster.substance)
    added = added_by_material(record.entries)
    state = State(
        record=record,
        solution=solution,
        back=adjuster,
        back_on_shelf=back,
        rows=_rows(session, record),
        added_g=added.get(record.material_id, ZERO),
        back_g=added.get(back.material.id, ZERO) if back else ZERO,
        step=None,
        why_not="",
        curve=(),
        refitted=(),
    )
    try:
        return _with_model(state, model_of(session, batch, state), curves)
    except Invalid as fault:
        return replace(state, why_not=fault.message)


def _solution(session: Session, material_id: int) -> Solution:
    material = read_shelf(session, {material_id})[material_id]
    found = as_solution(material)
    if found is None:
        raise Invalid("material_id", f"{material.name} is no longer a solution of one acid or base.")
    return found


def _way_back(session: Session, record: PhSession, solution: Solution) -> Solution | None:
    """Find the way back: what was used for it already, or a dilute solution on the shelf, the usual one first."""
    used = {e.material_id for e in record.entries if e.material_id not in (None, record.material_id)}
    if used:
        return _solution(session, next(key for key in used if key is not None))
    usual = way_back(solution.adjuster.substance).substance.key
    others = [s for s in solutions_on_shelf(session) if s.raises != solution.raises and not s.concentrated]
    return next((s for s in others if s.adjuster.substance.key == usual), others[0] if others else None)


def added_by_material(entries: Sequence[PhEntry]) -> dict[int, Decimal]:
    """Sum what a session added, grams by material."""
    sums: dict[int, Decimal] = {}
    for entry in entries:
        if entry.material_id is not None and entry.grams is not None:
            sums[entry.material_id] = sums.get(entry.material_id, ZERO) + entry.grams
    return sums


def model_of(session: Session, batch: Batch, state: State) -> Model:
    """Compile the batch for the session.

    Raises:
        Invalid: when there is no water or nothing in the beaker.
    """
    beaker = beaker_of(batch, shelf_of_batch(session, batch), _kept(state))
    mixture, _ = mixture_of(beaker.materials)
    warm = next((e.temperature_c for e in reversed(state.record.entries) if e.temperature_c is not None), None)
    if warm is not None and COLDEST <= warm <= HOTTEST:
        mixture = replace(mixture, temperature_c=float(warm))
    record = state.record
    return open_session(mixture, state.solution.adjuster, state.back, float(record.target_ph), float(record.batch_g))


def _kept(state: State) -> dict[int, Decimal]:
    """Give what the session added, with the adjuster named even when nothing of it went in yet."""
    return {state.record.material_id: ZERO, **added_by_material(state.record.entries)}


def readings_of(state: State) -> list[Reading]:
    """Give the readings to the model: doses in grams per gram of batch, noise from the stated uncertainty."""
    batch_g, readings = float(state.record.batch_g), []
    doses = [0.0, 0.0]
    for entry in state.record.entries:
        if entry.kind is EntryKind.ADDITION and entry.grams is not None:
            doses[0 if entry.material_id == state.record.material_id else 1] += float(entry.grams) / batch_g
        elif entry.ph is not None:
            readings.append(Reading((doses[0], doses[1]), float(entry.ph), noise_of(entry.uncertainty)))
    return readings


def noise_of(uncertainty: Decimal | None) -> float:
    """Give the standard noise of one reading from its stated uncertainty (about 90 %), the meter's own share off.

    >>> noise_of(Decimal("0.1")), round(noise_of(Decimal("0.5")), 2)
    (0.03, 0.29)
    """
    wide = float(uncertainty or 0) / COVER_90
    return max(READING_NOISE, math.sqrt(max(wide**2 - METER_OFFSET**2, 0.0)))


def _with_model(state: State, model: Model, curves: bool) -> State:
    readings = readings_of(state)
    step = next_step(model, (float(state.added_g), float(state.back_g)), readings)
    if not curves:
        return replace(state, step=step)
    doses = _doses(model, state)
    batch_g = model.batch_g
    refitted = curve_with_band(model.model, doses, batch_g, refit(model.model, readings).belief) if readings else ()
    return replace(state, step=step, curve=curve_with_band(model.model, doses, batch_g), refitted=refitted)


def _doses(model: Model, state: State) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    doses = useful_doses(plan_dose(model.model, model.target))
    most = max(float(doses[-1]), 1.15 * float(state.added_g) / model.batch_g)
    return np.asarray(doses * (most / doses[-1]), dtype=np.float64)


def _rows(session: Session, record: PhSession) -> tuple[Row, ...]:
    ids = {entry.material_id for entry in record.entries if entry.material_id is not None}
    shelf = read_shelf(session, ids | {record.material_id})
    sums: dict[int, Decimal] = {}
    return tuple(_row(entry, shelf, sums, record.material_id) for entry in record.entries)


def _row(entry: PhEntry, shelf: Shelf, sums: dict[int, Decimal], main: int) -> Row:
    key = entry.material_id or main
    sums[key] = sums.get(key, ZERO) + (entry.grams or ZERO)
    return Row(entry, shelf[key].name, sums[key])
