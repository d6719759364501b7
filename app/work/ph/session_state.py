"""A pH session as it stands: what was added and read, what the model has learned, and the next step."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypeAlias

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.neutralisers import counter_adjuster
from app.science.acid_base.bench import ACCEPT, BenchStep, NextMove, next_step, open_session, trusted_readings
from app.science.acid_base.bench import Session as Model
from app.science.acid_base.cautions import cautions
from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.refit import METER_OFFSET, READING_NOISE, MeterReading, refit
from app.science.acid_base.titration import CurvePoint, curve_with_band, useful_doses
from app.science.acid_base.values import Adjuster
from app.science.errors import Invalid
from app.store.batches import Batch, BatchReading, BatchWeighing
from app.store.bench_ph import PhSession
from app.store.growing import standing
from app.work.formulas.pinned_materials import Shelf, pinned, read_shelf
from app.work.ph.batch_mixture import kept_materials, materials_of, mixture_in_batch
from app.work.ph.mixture import mixture_of
from app.work.ph.solutions import Solution, as_solution, solutions_on_shelf

COVER_90 = 1.645
LEAST_WEIGHABLE_G = 0.02
COLDEST, HOTTEST = Decimal(0), Decimal(80)
ZERO = Decimal(0)
Entry: TypeAlias = BatchWeighing | BatchReading


def entries_of(record: PhSession) -> tuple[Entry, ...]:
    """Return the additions and readings of a session that still stand, in the order they were made."""
    additions = [one for one in standing(record.additions) if one.grams is not None]
    return tuple(sorted([*additions, *record.readings], key=lambda entry: entry.place or 0))


@dataclass(frozen=True, slots=True)
class SessionRow:
    """An addition or a reading, with what had been added of its material when it was made."""

    entry: Entry
    material_id: int
    material: str
    total_g: Decimal

    @property
    def is_reading(self) -> bool:
        """Whether it is a reading."""
        return isinstance(self.entry, BatchReading)


@dataclass(frozen=True, slots=True)
class State:
    """A session as the pages show it.

    Attributes:
        name: of what is added, as it was called then.
        solution: what is added; None where the record does not hold its strength, ``why_not`` then says so.
        counter: the solution that goes the other way, with ``counter_solution`` None while it is not on the shelf.
        added_g, counter_g: grams of either so far.
        rows: every entry, in order.
        step: what to do next; None with ``why_not`` when the model cannot speak of this batch.
        curve: as predicted before the first reading; ``refitted`` after the last one.
        from_today: the materials that neither the batch nor the session keeps, read as they stand on the shelf today.
    """

    record: PhSession
    name: str
    solution: Solution | None
    counter: Adjuster | None
    counter_solution: Solution | None
    rows: tuple[SessionRow, ...]
    added_g: Decimal
    counter_g: Decimal
    step: BenchStep | None = None
    why_not: str = ""
    curve: tuple[CurvePoint, ...] = ()
    refitted: tuple[CurvePoint, ...] = ()
    from_today: tuple[str, ...] = ()

    @property
    def last(self) -> SessionRow | None:
        """The entry made last."""
        return self.rows[-1] if self.rows else None

    @property
    def last_reading(self) -> BatchReading | None:
        """The reading taken last."""
        return next((row.entry for row in reversed(self.rows) if isinstance(row.entry, BatchReading)), None)

    @property
    def waits_for_reading(self) -> bool:
        """Whether something was added since the last reading."""
        return self.last is not None and not self.last.is_reading

    @property
    def met_by_the_model(self) -> bool:
        """Whether nothing is left to add because the model, not the last reading, sees the target met."""
        step = self.step
        return step is not None and step.move is NextMove.STOP and abs(step.expected_ph - self.target) <= ACCEPT

    @property
    def too_little_to_weigh(self) -> bool:
        """Whether the next addition is smaller than a bench scale shows."""
        return self.step is not None and 0 < self.step.grams < LEAST_WEIGHABLE_G

    @property
    def adds_a_part(self) -> bool:
        """Whether the next addition is only a part of what is left to add."""
        return self.step is not None and self.step.grams < 0.995 * self.step.total_grams

    @property
    def target(self) -> float:
        """The pH that is wanted."""
        return float(self.record.target_ph)

    @property
    def expected_ph(self) -> float | None:
        """What the model sees at what was added so far, read off the curve; None without one."""
        curve = self.refitted or self.curve
        if not curve or self.counter_g > 0:
            return None
        return min(curve, key=lambda point: abs(point.grams - float(self.added_g))).ph

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of what is added next."""
        going_back = self.step is not None and self.step.which == 1
        adjuster = self.counter if going_back or self.solution is None else self.solution.adjuster
        return cautions(adjuster.substance) if adjuster else ()


def sessions_of(session: Session, batch_id: int) -> list[PhSession]:
    """Return the pH sessions of a batch, oldest first."""
    asked = select(PhSession).where(PhSession.batch_id == batch_id).order_by(PhSession.id)
    return list(session.scalars(asked))


def state_of(session: Session, batch: Batch, record: PhSession, *, curves: bool = True) -> State:
    """Work out how a session stands; a record that the model cannot speak of is shown all the same."""
    shelf, pinned_here = _pinned(session, batch, record), pinned(record.materials)
    entries = entries_of(record)
    material_of = {line.id: line.material_id for line in batch.lines}
    added = added_by_material(entries, material_of)
    own = shelf.get(record.material_id)
    solution = as_solution(own) if own else None
    back = _counter_solution(session, record, solution, shelf, set(added))
    counter = back.adjuster if back else counter_adjuster(solution.adjuster.substance) if solution else None
    sums: dict[int, Decimal] = {}
    rows = []
    for entry in entries:
        key = material_of[entry.line_id] if isinstance(entry, BatchWeighing) else record.material_id
        grams = entry.grams if isinstance(entry, BatchWeighing) else None
        sums[key] = sums.get(key, ZERO) + (grams or ZERO)
        rows.append(SessionRow(entry, key, shelf[key].name if key in shelf else "", sums[key]))
    state = State(
        record=record,
        name=own.name if own else "",
        solution=solution,
        counter=counter,
        counter_solution=back,
        rows=tuple(rows),
        added_g=added.get(record.material_id, ZERO),
        counter_g=added.get(back.material.id, ZERO) if back else ZERO,
        from_today=tuple(shelf[key].name for key in sorted(set(shelf) - set(kept_materials(batch)) - set(pinned_here))),
    )
    try:
        model, readings = model_of(session, batch, state), readings_of(state)
        step = next_step(model, (float(state.added_g), float(state.counter_g)), readings)
        return with_curves(replace(state, step=step), model, readings) if curves else replace(state, step=step)
    except Invalid as fault:
        return replace(state, why_not=fault.message)


def with_curves(state: State, model: Model, readings: Sequence[MeterReading]) -> State:
    """Return a session with the curve that is expected, and the one that its readings were fitted to."""
    doses = useful_doses(plan_dose(model.model, model.target))
    most = max(float(doses[-1]), 1.15 * float(state.added_g) / model.batch_g)
    doses = np.asarray(doses * (most / doses[-1]), dtype=np.float64)
    trusted, _ = trusted_readings(model, readings)
    belief = refit(model.model, trusted).belief if trusted else None
    refitted = curve_with_band(model.model, doses, model.batch_g, belief) if belief else ()
    return replace(state, curve=curve_with_band(model.model, doses, model.batch_g), refitted=refitted)


def _pinned(session: Session, batch: Batch, record: PhSession) -> Shelf:
    """Return the materials of a session as they were; only a session that pinned nothing looks at today's shelf."""
    found = {**materials_of(session, batch), **pinned(record.materials)}
    missing = {record.material_id} - set(found)
    return {**read_shelf(session, missing), **found} if missing else found


def _counter_solution(
    session: Session, record: PhSession, solution: Solution | None, shelf: Shelf, used: set[int]
) -> Solution | None:
    """Return what was used to go back already, or what a running session would take: a dilute one, the usual first."""
    for key in used - {record.material_id}:
        return as_solution(shelf[key]) if key in shelf else None
    if solution is None or record.finished_at is not None:
        return None
    usual = counter_adjuster(solution.adjuster.substance).substance.key
    others = [s for s in solutions_on_shelf(session) if s.raises != solution.raises and not s.concentrated]
    return next((s for s in others if s.adjuster.substance.key == usual), others[0] if others else None)


def added_by_material(entries: Sequence[Entry], material_of: Mapping[int, int]) -> dict[int, Decimal]:
    """Return what a session added, grams by material; ``material_of`` gives the material of each line."""
    sums: dict[int, Decimal] = {}
    for entry in entries:
        if isinstance(entry, BatchWeighing) and entry.grams is not None:
            key = material_of[entry.line_id]
            sums[key] = sums.get(key, ZERO) + entry.grams
    return sums


def model_of(session: Session, batch: Batch, state: State) -> Model:
    """Compile the batch for the session.

    Raises:
        Invalid: when there is no water, nothing in the beaker, or the strength of the solution is not known.
    """
    if state.solution is None or state.counter is None:
        raise Invalid("material_id", "the record does not hold what the solution was made of")
    added = {state.record.material_id: state.added_g}
    if state.counter_solution is not None:
        added[state.counter_solution.material.id] = state.counter_g
    held = mixture_in_batch(batch, _pinned(session, batch, state.record), added)
    mixture, _ = mixture_of(held.materials)
    readings = [row.entry for row in state.rows if isinstance(row.entry, BatchReading)]
    warm = next((one.temperature_c for one in reversed(readings) if one.temperature_c is not None), None)
    if warm is not None and COLDEST <= warm <= HOTTEST:
        mixture = replace(mixture, temperature_c=float(warm))
    record = state.record
    return open_session(mixture, state.solution.adjuster, state.counter, float(record.target_ph), float(record.batch_g))


def readings_of(state: State) -> list[MeterReading]:
    """Return the readings for the model: doses in grams per gram of batch, noise from the stated uncertainty."""
    batch_g, readings = float(state.record.batch_g), []
    doses = [0.0, 0.0]
    for row in state.rows:
        if isinstance(row.entry, BatchWeighing):
            which = 0 if row.material_id == state.record.material_id else 1
            doses[which] += float(row.entry.grams or ZERO) / batch_g
        elif row.entry.value is not None:
            readings.append(MeterReading((doses[0], doses[1]), float(row.entry.value), noise_of(row.entry.uncertainty)))
    return readings


def noise_of(uncertainty: Decimal | None) -> float:
    """Return the standard noise of one reading from its stated uncertainty (about 90 %), the meter's own share off.

    A normal spread holds 90 % within 1.645 standard deviations.

    >>> noise_of(Decimal("0.1")), round(noise_of(Decimal("0.5")), 2)
    (0.03, 0.29)
    """
    wide = float(uncertainty or 0) / COVER_90
    return max(READING_NOISE, math.sqrt(max(wide**2 - METER_OFFSET**2, 0.0)))
