"""Additions and readings of a pH session: an addition is a weighing of the batch, a reading a reading of the batch."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy.orm import Session

from app.science.acid_base.bench import implausible
from app.science.errors import Invalid
from app.science.numbers import parse_number, plain, to_places
from app.science.quantities import HEAVIEST_G
from app.store.batches import PH, Batch, BatchLine, BatchReading, BatchWeighing
from app.work.action import action
from app.work.batches.weighing import weighing_words
from app.work.clock import now
from app.work.form import Faults, Field, Form, rule
from app.work.form_fields import MaybeGrams, MaybeNumber, Number, OneOf, RowId, ShortText, TickBox
from app.work.formulas.pinned_materials import pin, pinned, read_shelf
from app.work.people import SignedBy
from app.work.ph.batch_mixture import line_for
from app.work.ph.droppers import grams_of_drops
from app.work.ph.session_state import State, entries_of, model_of, noise_of, readings_of, state_of
from app.work.ph.sessions import open_record
from app.work.stock.weighed import settle_lines

ZERO = Decimal(0)
PLACES_G = 4


class Instrument(StrEnum):
    """What a pH is measured with."""

    METER = "meter"
    STRIP = "strip"
    OWN = "own"


ACCURACY = {Instrument.METER: Decimal("0.1"), Instrument.STRIP: Decimal("0.5")}


@dataclass(frozen=True, slots=True)
class SessionRef:
    """Which session of which batch a form belongs to, as it was when the form was drawn."""

    batch_id: int
    session_id: int
    row_version: int
    key: str = ""


class AdditionForm(Form):
    """What was added: grams, or drops of a dropper. ``back`` says that it goes the other way."""

    grams = MaybeGrams("Amount added, g", high=HEAVIEST_G)
    drops = MaybeNumber("Drops", low=1, high=5000)
    dropper_id = RowId("Dropper")
    back = TickBox("To correct it")
    who = SignedBy("Enter who added it.")

    @rule
    def one_amount(self) -> None:
        """Refuse no amount, and two of them."""
        if self.grams is not None and self.drops is not None:
            raise Invalid("drops", "Enter grams or drops, not both.")
        if self.grams is None and self.drops is None:
            raise Invalid("grams", "Enter how many grams were added.")

    def amount_g(self, session: Session, material_id: int, most: Decimal) -> Decimal:
        """Return the grams that were added of a material; ``most`` is what is in the beaker.

        Raises:
            Faults: when the drops are of no known weight, or more was added than there is in the beaker.
        """
        try:
            if self.drops is None:
                grams = self.grams or ZERO
            else:
                grams = grams_of_drops(session, self.dropper_id, self.drops, material_id)
            if grams > most:
                field = "grams" if self.drops is None else "drops"
                raise Invalid(field, f"That is more than the {plain(most)} g in the beaker.")
        except Invalid as wrong:
            raise Faults([wrong]) from wrong
        return grams


class Accuracy(Field[Decimal]):
    """How far off a pH may be: that of the instrument, or what was typed for one's own."""

    control = "decimal"

    def read(self, text: str, at: str, form: Any) -> Decimal:
        """Return it in pH units."""
        return ACCURACY.get(form.instrument) or parse_number(text, at, low=Decimal("0.01"), high=Decimal(3))


class PhReadingForm(Form):
    """A reading of the pH; ``sure`` repeats a pH that was asked about."""

    ph = Number("pH reading", high=14)
    instrument = OneOf("Measured with", Instrument, "Choose what it was measured with.", default="meter")
    uncertainty = Accuracy("Accuracy")
    temperature = MaybeNumber("At °C", high=100)
    sure = ShortText("Sure")
    who = SignedBy("Enter who read it.")


class LastEntryForm(Form):
    """Why the last entry was typed wrongly."""

    why = ShortText("Why", longest=500)
    who = SignedBy("Enter who corrects it.")


@action(once="pH entry of session {at.session_id}", key="{at.key}")
def add_addition(session: Session, at: SessionRef, typed: AdditionForm) -> None:
    """Record what was added: a weighing in the batch's own line, or in a line of its own for a new material.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    state = state_of(session, batch, record, curves=False)
    form = typed.checked(session)
    if form.back and state.counter_solution is None:
        raise Invalid("grams", "Put the solution for the correction on the shelf first.")
    counter = state.counter_solution.material if form.back and state.counter_solution else None
    material_id = counter.id if counter else record.material_id
    grams, by = form.amount_g(session, material_id, record.batch_g), form.who
    if counter is not None:
        record.materials = pin({**pinned(record.materials), counter.id: counter}.values())
    step = state.step if state.step is not None and (state.step.which == 1) == form.back else None
    line = line_for(batch, material_id) or _bench_line(session, batch, material_id)
    weighing = BatchWeighing(
        grams=grams,
        by=by,
        at=now(),
        lot_text=line.lot_text.partition(",")[0],
        session_id=record.id,
        place=_next_place(state),
        drops=form.drops,
        advised_g=to_places(Decimal(str(max(step.grams, 0.0))), PLACES_G) if step else None,
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
def add_reading(session: Session, at: SessionRef, typed: PhReadingForm) -> None:
    """Record what the meter or strip says; a pH that cannot well be is asked about first.

    Raises:
        Faults: at ``ph``, ``uncertainty`` or ``temperature``; at ``sure`` for a pH far from what is expected.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    state = state_of(session, batch, record, curves=False)
    form = typed.checked(session)
    reading = BatchReading(
        kind=PH,
        value=form.ph,
        words=f"{plain(form.ph)} ± {plain(form.uncertainty)}",
        uncertainty=form.uncertainty,
        temperature_c=form.temperature,
        taken_at=now(),
        taken_by=form.who,
        session_id=record.id,
        place=_next_place(state),
    )
    if form.text["sure"].strip() != form.text["ph"].strip():
        _ask_when_implausible(session, batch, state, reading)
    batch.record(reading, by=reading.taken_by, why="pH session")
    batch.start(by=reading.taken_by, at=now())
    record.touch()


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
def take_back_last(session: Session, at: SessionRef, typed: LastEntryForm) -> None:
    """Correct the last entry where it was typed wrongly: it counts no more, and the history keeps it.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Invalid: when there is nothing to take back.
        Conflict: when the session changed, has ended, or the batch is decided.
    """
    batch, record = open_record(session, at.batch_id, at.session_id, at.row_version)
    entries = entries_of(record)
    if not entries:
        raise Invalid("", "There is nothing to take back.")
    form = typed.checked(session)
    reason, by = form.why or "typing error", form.who
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
