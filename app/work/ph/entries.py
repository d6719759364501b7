"""Additions and readings of a pH session: an addition is a weighing of the batch, a reading a reading of the batch."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.acid_base.bench import implausible
from app.science.errors import Invalid
from app.science.numbers import parse_number, plain, to_places
from app.science.quantities import HEAVIEST_G, parse_grams
from app.store.batches import PH, Batch, BatchLine, BatchReading, BatchWeighing
from app.work.action import action
from app.work.batches.weighing import weighing_words
from app.work.clock import now
from app.work.field_reading import FieldReader, maybe_number, one_line
from app.work.formulas.shelf import pin, pinned, read_shelf
from app.work.people import person_named
from app.work.ph.batch_mixture import line_for
from app.work.ph.droppers import grams_of_drops
from app.work.ph.session_state import State, entries_of, model_of, noise_of, readings_of, state_of
from app.work.ph.sessions import open_record
from app.work.stock.weighed import settle_lines

ZERO = Decimal(0)
PLACES_G = 4
LONGEST_REASON = 500
INSTRUMENTS = {"meter": Decimal("0.1"), "strip": Decimal("0.5")}


@dataclass(frozen=True, slots=True)
class SessionRef:
    """Which session of which batch a form belongs to, as it was when the form was drawn."""

    batch_id: int
    session_id: int
    row_version: int
    who: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class TypedAddition:
    """What was typed for an addition: grams, or drops of a dropper. ``back`` says that it goes the other way."""

    grams: str
    drops: str = ""
    dropper_id: int | None = None
    back: bool = False


@dataclass(frozen=True, slots=True)
class TypedReading:
    """What was typed for a reading; ``sure`` repeats a pH that was asked about."""

    ph: str
    instrument: str = "meter"
    uncertainty: str = ""
    temperature: str = ""
    sure: str = ""


@action(once="pH entry of session {at.session_id}", key="{at.key}")
def add_addition(session: Session, at: SessionRef, typed: TypedAddition) -> None:
    """Record what was added: a weighing in the batch's own line, or in a line of its own for a new material.

    Raises:
        Faults: at ``grams``, ``drops`` or ``dropper_id``.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    state = state_of(session, batch, record, curves=False)
    if typed.back and state.counter_solution is None:
        raise Invalid("grams", "Put the solution for the correction on the shelf first.")
    counter = state.counter_solution.material if typed.back and state.counter_solution else None
    material_id = counter.id if counter else record.material_id
    grams, drops, by = _read_amount(session, at, typed, material_id, record.batch_g)
    if counter is not None:
        record.materials = pin({**pinned(record.materials), counter.id: counter}.values())
    line = line_for(batch, material_id) or _bench_line(session, batch, material_id)
    weighing = BatchWeighing(
        grams=grams,
        by=by,
        at=now(),
        lot_text=line.lot_text.partition(",")[0],
        session_id=record.id,
        place=_next_place(state),
        drops=drops,
        advised_g=_advised(state, typed.back),
    )
    noted = next((one for one in line.standing if one.lot_id is not None), None)
    weighing.lot_id = noted.lot_id if noted else None
    line.weighings.append(weighing)
    batch.log(f"{line.name}: weight", by=by, at=weighing.at, new=weighing_words(weighing), why="pH session")
    settle_lines(session, batch, [line], by=by, why="pH session")
    batch.start(by=by, at=now())
    record.touch()


def _next_place(state: State) -> int:
    used = [*(one.place or 0 for one in state.record.additions), *(one.place or 0 for one in state.record.readings)]
    return max(used, default=0) + 1


def _advised(state: State, back: bool) -> Decimal | None:
    if state.step is None or (state.step.which == 1) != back:
        return None
    return to_places(Decimal(str(max(state.step.grams, 0.0))), PLACES_G)


def _read_amount(
    session: Session, at: SessionRef, typed: TypedAddition, material_id: int, most: Decimal
) -> tuple[Decimal, Decimal | None, str]:
    reader = FieldReader()
    drops = reader.read(maybe_number, typed.drops, "drops", low=Decimal(1), high=Decimal(5000))
    counted = bool(typed.drops.strip())
    if counted and typed.grams.strip():
        reader.refuse("drops", "Write grams or drops, not both.")
    if not counted and not typed.grams.strip():
        reader.refuse("grams", "Write how many grams were added.")
    grams = None
    if typed.grams.strip() and not counted:
        grams = reader.read(parse_grams, typed.grams, "grams", high=HEAVIEST_G)
    if counted and drops is not None:
        grams = reader.read(grams_of_drops, session, typed.dropper_id, drops, material_id)
    if grams is not None and grams > most:
        reader.refuse("drops" if counted else "grams", f"That is more than the {plain(most)} g in the beaker.")
    by = reader.read(person_named, session, at.who, "who", "Write who added it.")
    reader.finish()
    return grams or ZERO, drops, by or ""


def _bench_line(session: Session, batch: Batch, material_id: int) -> BatchLine:
    """Add a line for a material that the formula does not have; it pins the material as it is today."""
    material = read_shelf(session, {material_id})[material_id]
    line = BatchLine(
        position=max((line.position for line in batch.lines), default=0) + 1,
        phase=batch.lines[-1].phase if batch.lines else "A",
        material_id=material_id,
        name=material.name,
        percent=ZERO,
        target_g=ZERO,
        shown_g=ZERO,
        scale="",
        added_at_bench=True,
        material=pin([material]),
    )
    batch.lines.append(line)
    return line


@action(once="pH entry of session {at.session_id}", key="{at.key}")
def add_reading(session: Session, at: SessionRef, typed: TypedReading) -> None:
    """Record what the meter or strip says; a pH that cannot well be is asked about first.

    Raises:
        Faults: at ``ph``, ``uncertainty`` or ``temperature``; at ``sure`` for a pH far from what is expected.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    state = state_of(session, batch, record, curves=False)
    reading = _read_reading(session, typed, at.who)
    reading.session_id, reading.place = record.id, _next_place(state)
    if typed.sure.strip() != typed.ph.strip():
        _ask_when_implausible(session, batch, state, reading)
    batch.record(reading, by=reading.taken_by, why="pH session")
    batch.start(by=reading.taken_by, at=now())
    record.touch()


def _read_reading(session: Session, typed: TypedReading, who: str) -> BatchReading:
    reader = FieldReader()
    ph = reader.read(parse_number, typed.ph, "ph", low=ZERO, high=Decimal(14))
    wide = INSTRUMENTS.get(typed.instrument) or reader.read(
        parse_number, typed.uncertainty, "uncertainty", low=Decimal("0.01"), high=Decimal(3)
    )
    warmth = reader.read(maybe_number, typed.temperature, "temperature", low=ZERO, high=Decimal(100))
    by = reader.read(person_named, session, who, "who", "Write who read it.")
    reader.finish()
    return BatchReading(
        kind=PH,
        value=ph,
        words=f"{plain(ph or ZERO)} ± {plain(wide or ZERO)}",
        uncertainty=wide,
        temperature_c=warmth,
        taken_at=now(),
        taken_by=by or "",
    )


def _ask_when_implausible(session: Session, batch: Batch, state: State, reading: BatchReading) -> None:
    try:
        model = model_of(session, batch, state)
    except Invalid:
        return
    added = (float(state.added_g), float(state.counter_g))
    expected = implausible(
        model, added, readings_of(state), float(reading.value or ZERO), noise_of(reading.uncertainty)
    )
    if expected is not None:
        typed = plain(reading.value or ZERO)
        raise Invalid("sure", f"You typed {typed}; about {expected:.1f} was expected. Is it {typed}?")


@action(once="taken back in session {at.session_id}", key="{at.key}")
def take_back_last(session: Session, at: SessionRef, why: str = "") -> None:
    """Correct the last entry where it was typed wrongly: it counts no more, and the history keeps it.

    Raises:
        Invalid: when there is nothing to take back.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    entries = entries_of(record)
    if not entries:
        raise Invalid("", "There is nothing to take back.")
    reason = one_line(why, "why", longest=LONGEST_REASON) or "typed wrongly"
    by = person_named(session, at.who, "who", "Write who corrects it.")
    last = entries[-1]
    if isinstance(last, BatchReading):
        batch.log("reading: pH", by=by, at=now(), old=plain(last.value or ZERO), why=reason)
        batch.readings.remove(last)
    else:
        line = next(line for line in batch.lines if line.id == last.line_id)
        gone = BatchWeighing(grams=None, by=by, at=now(), replaces_id=last.id, reason=reason)
        gone.session_id, gone.place = last.session_id, last.place
        line.weighings.append(gone)
        batch.log(f"{line.name}: weight", by=by, at=gone.at, old=weighing_words(last), why=reason)
        settle_lines(session, batch, [line], by=by, why=reason)
    batch.start(by=by, at=now())
    record.touch()
