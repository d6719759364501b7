"""The record of a batch as one value: what its page and its paper show, for an inspector to read."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.numbers import exact_arithmetic
from app.science.specification import Check
from app.science.tolerance import Band, checks_of
from app.store.batches import Batch, BatchLine, BatchReading, BatchWeighing, Tick, TickKind
from app.work.batch_sheet import cautions_of, loses_water
from app.work.batches.as_made import AsMade, as_made
from app.work.batches.batch_readings import yield_percent
from app.work.batches.deciding import weighers
from app.work.batches.deviations import band_of, out_of_plan
from app.work.batches.history import Action, actions
from app.work.batches.loading import load_batch
from app.work.batches.planned_sheet import formula_to_make
from app.work.deviations import OutOfPlan
from app.work.gear_checks import GearRow, gear_rows
from app.work.ph.batch_sessions import states_of
from app.work.ph.session_state import State


@dataclass(frozen=True, slots=True)
class LineRecord:
    """A line as planned and as weighed; ``corrected`` are weighings that a later one replaced, with the reason."""

    line: BatchLine
    band: Band | None
    corrected: tuple[tuple[BatchWeighing, str], ...]

    @property
    def difference_g(self) -> Decimal | None:
        """What is in the batch less what was planned, grams; None while nothing was weighed or nothing was planned."""
        held = self.line.held_g
        if held is None or self.line.added_at_bench:
            return None
        with exact_arithmetic():
            return held - self.line.shown_g

    @property
    def is_outside(self) -> bool:
        """Whether what is in the batch lies outside its band."""
        held = self.line.held_g
        return self.band is not None and held is not None and not self.band.holds(held)


@dataclass(frozen=True, slots=True)
class PhaseRecord:
    """A phase with its lines, its steps and the cautions that stand above them."""

    letter: str
    name: str
    temperature_c: Decimal | None
    cautions: tuple[str, ...]
    lines: tuple[LineRecord, ...]
    steps: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """A check with the reading that answers it: the last of its kind."""

    check: Check
    reading: BatchReading | None

    @property
    def is_inside(self) -> bool:
        """Whether it was read, and inside its limits."""
        return self.reading is not None and self.check.holds(self.reading.value)


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """Everything of a batch: planned and actual, steps, checks, deviations, yield, pH sessions, decision, history."""

    batch: Batch
    formula: Formula
    start_up: tuple[Tick, ...]
    phases: tuple[PhaseRecord, ...]
    checks: tuple[CheckRecord, ...]
    deviations: tuple[OutOfPlan, ...]
    yield_percent: Decimal | None
    made: AsMade | None
    sessions: tuple[State, ...]
    history: tuple[Action, ...]
    released_alone: bool
    decided_why: str
    gear: tuple[GearRow, ...]
    is_heated: bool

    @property
    def planned_g(self) -> Decimal:
        """What was planned to be weighed, all lines together, grams."""
        return sum((line.shown_g for line in self.batch.lines), Decimal(0))


def batch_record(session: Session, batch_id: int) -> BatchRecord:
    """Return the record of a batch, finished or not.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    formula = formula_to_make(batch)
    known = {phase.letter: phase for phase in formula.phases}
    letters = dict.fromkeys([*known, *(line.phase for line in batch.lines)])
    phases = []
    for letter in letters:
        phase = known.get(letter)
        lines = tuple(line_record(one) for one in batch.lines if one.phase == letter and not one.is_left_out)
        steps = tuple(one for one in batch.ticks if one.kind is TickKind.STEP and one.phase == letter)
        name, warmth = (phase.name, phase.temperature_c) if phase else ("", None)
        phases.append(PhaseRecord(letter, name, warmth, cautions_of(phase) if phase else (), lines, steps))
    return BatchRecord(
        batch=batch,
        formula=formula,
        start_up=tuple(one for one in batch.ticks if one.kind is TickKind.START_UP),
        phases=tuple(phases),
        checks=tuple(CheckRecord(check, batch.reading_for(check)) for check in checks_of(formula)),
        deviations=out_of_plan(session, batch),
        yield_percent=yield_percent(batch),
        made=as_made(session, batch),
        sessions=states_of(session, batch),
        history=actions(batch.history),
        gear=gear_of(session, batch),
        is_heated=loses_water(formula),
        decided_why=next((one.why for one in reversed(batch.history) if one.what == "state"), ""),
        released_alone=bool(batch.decided_by) and batch.decided_by in weighers(batch),
    )


def line_record(line: BatchLine) -> LineRecord:
    """Return a line as planned and as weighed, with the weighings that were corrected."""
    reasons = {one.replaces_id: one.reason for one in line.weighings if one.replaces_id is not None}
    corrected = tuple((one, reasons[one.id]) for one in line.weighings if one.id in reasons)
    return LineRecord(line, band_of(line), corrected)


def gear_of(session: Session, batch: Batch) -> tuple[GearRow, ...]:
    """Return the scales that a batch was weighed on, with their checks as they stood on the last day of weighing."""
    standing = [one for line in batch.lines for one in line.standing]
    made_on = max((one.at.astimezone().date() for one in standing), default=None)
    used = {one.scale for one in standing if one.grams is not None} | {one.scale for one in batch.heatings}
    return tuple(row for row in gear_rows(session, made_on, used - {""}) if row.name in used)
