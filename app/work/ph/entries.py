"""Additions and readings of a pH session: each lands in the session and in the batch at once."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, parse_number, plain, to_places
from app.store.batches import Batch, BatchLine, BatchReading, ReadingKind
from app.store.bench_ph import EntryKind, PhEntry, PhSession
from app.work.action import action
from app.work.batches.loading import log
from app.work.clock import now
from app.work.formulas.shelf import read_shelf
from app.work.ph.beaker import line_for
from app.work.ph.droppers import grams_of_drops
from app.work.ph.session_state import State, state_of
from app.work.ph.sessions import open_record
from app.work.typed import Reader, maybe_number

ZERO = Decimal(0)
PLACES_G = 4
INSTRUMENTS = {"meter": Decimal("0.1"), "strip": Decimal("0.5")}


@dataclass(frozen=True, slots=True)
class At:
    """Which session of which batch a form belongs to, as it was when the form was drawn."""

    batch_id: int
    session_id: int
    row_version: int
    who: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class TypedAddition:
    """What was typed for an addition: grams, or drops of a dropper. ``back`` says that it is the way back."""

    grams: str
    drops: str = ""
    dropper_id: int | None = None
    back: bool = False


@dataclass(frozen=True, slots=True)
class TypedReading:
    """What was typed for a reading."""

    ph: str
    instrument: str = "meter"
    uncertainty: str = ""
    temperature: str = ""


@action(once="pH entry of session {at.session_id}", key="{at.key}")
def add_addition(session: Session, at: At, typed: TypedAddition) -> None:
    """Take down what was added; the batch's own line gets the sum, a new material a line of its own.

    Raises:
        Faults: at ``grams``, ``drops`` or ``dropper_id``.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    state = state_of(session, batch, record, curves=False)
    material_id = _material(state, typed.back)
    grams, drops = _read_amount(session, typed, material_id, record.batch_g)
    entry = _entry(record, EntryKind.ADDITION, at.who)
    entry.material_id, entry.grams, entry.drops = material_id, grams, drops
    entry.advised_g = _advised(state, typed.back)
    record.entries.append(entry)
    _into_batch(session, batch, (material_id, grams), at.who)
    batch.start(by=at.who, at=now())
    flag_modified(record, "started_by")


def _material(state: State, back: bool) -> int:
    if not back:
        return state.record.material_id
    if state.back_on_shelf is None:
        raise Invalid("grams", "Put the solution for the way back on the shelf first.")
    return state.back_on_shelf.material.id


def _advised(state: State, back: bool) -> Decimal | None:
    if state.step is None or (state.step.which == 1) != back:
        return None
    return to_places(Decimal(str(max(state.step.grams, 0.0))), PLACES_G)


def _read_amount(
    session: Session, typed: TypedAddition, material_id: int, most: Decimal
) -> tuple[Decimal, Decimal | None]:
    reader = Reader()
    drops = reader.take(maybe_number, typed.drops, "drops", low=Decimal(1), high=Decimal(5000))
    counted = bool(typed.drops.strip())
    if counted and typed.grams.strip():
        reader.fail("drops", "Write grams or drops, not both.")
    grams = None if counted else reader.take(_grams, typed.grams)
    if counted and drops is not None:
        grams = reader.take(grams_of_drops, session, typed.dropper_id, drops, material_id)
    if grams is not None and grams > most:
        reader.fail("drops" if counted else "grams", f"That is more than the {plain(most)} g in the beaker.")
    reader.finish()
    return grams or ZERO, drops


def _grams(text: str) -> Decimal:
    bare = text.strip().removesuffix("g").strip()
    if not bare:
        raise Invalid("grams", "Write how many grams were added.")
    grams = parse_number(bare, "grams", low=ZERO, high=Decimal("1e8"))
    if grams <= 0:
        raise Invalid("grams", "Write more than 0 g.")
    return grams


def _entry(record: PhSession, kind: EntryKind, who: str) -> PhEntry:
    place = max((entry.position for entry in record.entries), default=0) + 1
    return PhEntry(position=place, kind=kind, at=now(), by=who.strip()[:80])


def _into_batch(session: Session, batch: Batch, added: tuple[int, Decimal], who: str) -> None:
    material_id, grams = added
    line = line_for(batch, material_id)
    if line is None:
        line = _new_line(session, batch, material_id)
        batch.lines.append(line)
    _weigh(batch, line, grams, who, "")


def _weigh(batch: Batch, line: BatchLine, more: Decimal, who: str, why: str) -> None:
    before = line.actual_g
    with exact_arithmetic():
        sum_g = max((before or ZERO) + more, ZERO)
    line.actual_g = sum_g if sum_g > 0 or not why else None
    line.weighed_at = now() if line.actual_g is not None else None
    line.initials = line.initials or "".join(word[0] for word in who.split())[:20]
    log(batch, f"{line.name}: weight", by=who, old=_words(before), new=_words(line.actual_g), why=why or "pH session")


def _words(grams: Decimal | None) -> str:
    return "" if grams is None else f"{plain(grams)} g"


def _new_line(session: Session, batch: Batch, material_id: int) -> BatchLine:
    return BatchLine(
        position=max((line.position for line in batch.lines), default=0) + 1,
        phase=batch.lines[-1].phase if batch.lines else "A",
        material_id=material_id,
        name=read_shelf(session, {material_id})[material_id].name,
        percent=ZERO,
        target_g=ZERO,
        shown_g=ZERO,
        scale="",
        added_at_bench=True,
    )


@action(once="pH entry of session {at.session_id}", key="{at.key}")
def add_reading(session: Session, at: At, typed: TypedReading) -> None:
    """Take down what the meter or strip says.

    Raises:
        Faults: at ``ph``, ``uncertainty`` or ``temperature``.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    ph, uncertainty, warmth = _read_reading(typed)
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    entry = _entry(record, EntryKind.READING, at.who)
    entry.ph, entry.uncertainty, entry.temperature_c = ph, uncertainty, warmth
    record.entries.append(entry)
    _reading_into_batch(batch, entry)
    batch.start(by=at.who, at=now())
    flag_modified(record, "started_by")


def _read_reading(typed: TypedReading) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
    reader = Reader()
    ph = reader.take(parse_number, typed.ph, "ph", low=ZERO, high=Decimal(14))
    own = typed.instrument not in INSTRUMENTS
    wide = (
        reader.take(parse_number, typed.uncertainty, "uncertainty", low=Decimal("0.01"), high=Decimal(3))
        if own
        else INSTRUMENTS[typed.instrument]
    )
    warmth = reader.take(maybe_number, typed.temperature, "temperature", low=ZERO, high=Decimal(100))
    reader.finish()
    return ph, wide, warmth


def _reading_into_batch(batch: Batch, entry: PhEntry) -> None:
    words = f"{plain(entry.ph or ZERO)} ± {plain(entry.uncertainty or ZERO)}"
    reading = BatchReading(
        kind=ReadingKind.PH,
        value=entry.ph,
        words=words,
        temperature_c=entry.temperature_c,
        taken_at=entry.at,
        taken_by=entry.by,
    )
    batch.record(reading, by=entry.by, why="pH session")


@action(once="taken back in session {at.session_id}", key="{at.key}")
def take_back_last(session: Session, at: At, why: str = "") -> None:
    """Take the last entry back, where it was typed wrongly; the history keeps both.

    Raises:
        Invalid: when there is nothing to take back.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    if not record.entries:
        raise Invalid("", "There is nothing to take back.")
    entry = record.entries.pop()
    _out_of_batch(batch, entry, at.who, why.strip() or "taken back: typed wrongly")
    batch.start(by=at.who, at=now())
    flag_modified(record, "started_by")


def _out_of_batch(batch: Batch, entry: PhEntry, who: str, why: str) -> None:
    if entry.kind is EntryKind.READING:
        same = [r for r in batch.readings if r.kind is ReadingKind.PH and r.taken_at == entry.at]
        for reading in same:
            batch.readings.remove(reading)
        log(batch, "reading: pH", by=who, old=plain(entry.ph or ZERO), new="", why=why)
        return
    line = line_for(batch, entry.material_id or 0)
    if line is None or entry.grams is None:
        return
    _weigh(batch, line, -entry.grams, who, why)
    if line.added_at_bench and line.actual_g is None:
        batch.lines.remove(line)
