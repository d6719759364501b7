"""Water lost while heating: a vessel weighed before and after, water put back, and what a vessel usually loses."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.heating import LearnedLoss, Pot
from app.science.numbers import plain
from app.store.batches import Batch, BatchLine, BatchWeighing, Heating
from app.store.errors import NotFound
from app.store.workshop import scales, vessels
from app.work.action import action
from app.work.batches.loading import open_batch
from app.work.batches.pots import learned_losses, pots_of
from app.work.batches.sheets import formula_of_batch
from app.work.batches.weighing import LONGEST_LOT, SLIP, ask_about_gear, read_weight, weighing_words
from app.work.clock import now
from app.work.field_reading import FieldReader, one_line, required_line
from app.work.people import person_named
from app.work.ph.batch_mixture import materials_of
from app.work.sheets import WATER_PERCENT, water_percent
from app.work.stock.weighed import bind_lot, settle_lines

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class HeatingOfBatch:
    """The heatings of a batch, and what a new one is begun with.

    ``water`` is the line that loses; ``pots`` are the vessels with what they usually lose, ``phases`` those that are
    heated first; ``weighed_g`` is what was weighed in for each phase so far.
    """

    water: BatchLine
    pots: tuple[Pot, ...]
    phases: tuple[str, ...]
    weighed_g: dict[str, Decimal]
    scales: tuple[str, ...]
    rows: tuple[Heating, ...]
    learned: dict[str, LearnedLoss]


def water_line(session: Session, batch: Batch) -> BatchLine | None:
    """Return the line that what evaporates is taken from: the purest water of a batch, None where it holds none."""
    shelf = materials_of(session, batch)
    found = [(water_percent(shelf[one.material_id]), one) for one in batch.lines if one.material_id in shelf]
    pure = [(percent, line.shown_g, -line.position, line) for percent, line in found if percent >= WATER_PERCENT]
    return max(pure, key=lambda row: row[:3])[3] if pure else None


def heating_of(session: Session, batch: Batch) -> HeatingOfBatch | None:
    """Return the heatings of a batch; None where it holds no water, or is decided and was never heated."""
    water = water_line(session, batch)
    if water is None or (batch.is_decided and not batch.heatings):
        return None
    phases = sorted(formula_of_batch(batch).phases, key=lambda phase: -(phase.temperature_c or ZERO))
    weighed = {
        phase.letter: sum((one.held_g or ZERO for one in batch.lines if one.phase == phase.letter), ZERO)
        for phase in phases
    }
    return HeatingOfBatch(
        water=water,
        pots=pots_of(session),
        phases=tuple(phase.letter for phase in phases),
        weighed_g=weighed,
        scales=tuple(one.name for one in scales(session)),
        rows=batch.heatings,
        learned=learned_losses(session),
    )


@dataclass(frozen=True, slots=True)
class TypedPot:
    """What was typed about a vessel on a scale."""

    grams: str
    who: str
    vessel: str = ""
    phase: str = ""
    scale: str = ""
    gear_reason: str = ""
    sure: str = ""


@action(once="heating of batch {batch_id}")
def begin_heating(session: Session, batch_id: int, typed: TypedPot, *, key: str = "") -> None:
    """Record what a vessel weighs with its contents before they are heated.

    Raises:
        Faults: at ``pot-vessel``, ``pot-grams``, ``pot-who`` or ``gear_reason``.
        Invalid: at ``pot-vessel``, when the batch holds no water.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    water = water_line(session, batch)
    if water is None:
        raise Invalid("pot-vessel", "Nothing of this batch is water, so nothing can be put back.")
    reader = FieldReader()
    vessel = reader.read(required_line, typed.vessel, "pot-vessel", "Write which pot or beaker it is.")
    grams, by = _weight_and_person(reader, session, typed, "pot")
    tare = next((one.tare_g for one in vessels(session) if one.name == vessel), ZERO)
    if grams is not None and grams <= tare:
        reader.refuse("pot-grams", f"{vessel} alone weighs {plain(tare)} g; weigh it with what is in it.")
    ask_about_gear(session, reader, batch, {typed.scale}, by=by, reason=typed.gear_reason)
    reader.finish()
    row = Heating(phase=typed.phase[:20] or water.phase, vessel=vessel, scale=typed.scale, before_g=grams)
    row.before_by, row.before_at = by, now()
    water.heatings.append(row)
    batch.log(f"{vessel}: before heating", by=by, at=row.before_at, new=f"{plain(row.before_g)} g")
    batch.start(by=by, at=row.before_at)


def _weight_and_person(
    reader: FieldReader, session: Session, typed: TypedPot, prefix: str
) -> tuple[Decimal | None, str]:
    grams = reader.read(read_weight, typed.grams, f"{prefix}-grams")
    if not typed.grams.strip():
        reader.refuse(f"{prefix}-grams", "Write what the scale shows.")
    by = reader.read(person_named, session, typed.who, f"{prefix}-who", "Write who weighed it.")
    return grams, by or ""


@action(once="heating {heating_id}, after")
def end_heating(session: Session, batch_id: int, heating_id: int, typed: TypedPot, *, key: str = "") -> None:
    """Record what the vessel weighs after heating; what it lost is the water to put back.

    Raises:
        Faults: at ``after-grams``, ``after-who`` or ``gear_reason``.
        NotFound: when no such heating waits for its second weight.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    row = _heating(batch, heating_id)
    if row.after_g is not None:
        raise NotFound("This pot was weighed again already; correct its weights where they stand.")
    reader = FieldReader()
    grams, by = _weight_and_person(reader, session, typed, "after")
    if grams is not None:
        _check_loss(reader, row, row.before_g, grams, "after-grams")
    ask_about_gear(session, reader, batch, {row.scale}, by=by, reason=typed.gear_reason)
    reader.finish()
    row.after_g, row.after_by, row.after_at = grams, by, now()
    lost = f"{plain(row.after_g or ZERO)} g, {plain(row.lost_g or ZERO)} g lost"
    batch.log(f"{row.vessel}: after heating", by=by, at=row.after_at, old=f"{plain(row.before_g)} g", new=lost)
    batch.touch()


def _check_loss(reader: FieldReader, row: Heating, before: Decimal, after: Decimal, field: str) -> None:
    water = row.line
    if after > before:
        reader.refuse(
            field, f"It weighed {plain(before)} g before and cannot have gained. What was added is weighed apart."
        )
    elif before - after > max(water.actual_g or ZERO, water.shown_g) - water.lost_g + (row.lost_g or ZERO):
        reader.refuse(field, f"That is {plain(before - after)} g less, more than the water in the batch.")


def _heating(batch: Batch, heating_id: int) -> Heating:
    row = next((one for one in batch.heatings if one.id == heating_id), None)
    if row is None:
        raise NotFound("There is no such heating; it may have been corrected already.")
    return row


@action(once="water put back after heating {heating_id}")
def put_water_back(
    session: Session, batch_id: int, heating_id: int, typed: TypedPot, *, lot: str = "", key: str = ""
) -> None:
    """Record water that was put back after heating: a weighing of the line of water.

    Raises:
        Faults: at ``back-grams``, ``back-lot``, ``back-who`` or ``gear_reason``; at ``back-sure`` when it is far more
            than was lost.
        NotFound: when there is no such heating.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    row = _heating(batch, heating_id)
    line, reader = row.line, FieldReader()
    grams, by = _weight_and_person(reader, session, typed, "back")
    written = reader.read(one_line, lot, "back-lot", longest=LONGEST_LOT)
    is_sure = typed.sure.strip() == typed.grams.strip()
    if grams is not None and grams >= SLIP * max(row.missing_g, line.step_g) and not is_sure:
        reader.refuse("back-sure", f"{plain(grams)} g put back, {plain(row.missing_g)} g to put back. Is it right?")
    weighing = BatchWeighing(
        grams=grams, lot_text=written or "", scale=typed.scale or line.scale, vessel=row.vessel, by=by, at=now()
    )
    weighing.heating_id = row.id
    reader.read(bind_lot, session, line, weighing, "back-lot")
    ask_about_gear(session, reader, batch, {weighing.scale}, by=by, reason=typed.gear_reason)
    reader.finish()
    line.weighings.append(weighing)
    batch.log(f"{line.name}: put back after heating", by=by, at=weighing.at, new=weighing_words(weighing))
    settle_lines(session, batch, [line], by=by)
    batch.touch()


@action(once="correction of heating {heating_id}")
def correct_heating(
    session: Session,
    batch_id: int,
    heating_id: int,
    *,
    before: str,
    after: str,
    who: str,
    reason: str,
    key: str = "",
) -> None:
    """Correct the weights of a vessel by a new row that names the old one and says why.

    Raises:
        Faults: at ``fix-before``, ``fix-after``, ``fix-who`` or ``fix-reason``.
        NotFound: when there is no such heating that still stands.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    old, reader = _heating(batch, heating_id), FieldReader()
    before_g = reader.read(read_weight, before, "fix-before")
    after_g = reader.read(read_weight, after, "fix-after")
    if not before.strip() or before_g == 0:
        reader.refuse("fix-before", "Write what the scale showed.")
    by = reader.read(person_named, session, who, "fix-who", "Write who corrects it.")
    why = reader.read(required_line, reason, "fix-reason", "Write why it is corrected.")
    if before_g is not None and after_g is not None:
        _check_loss(reader, old, before_g, after_g, "fix-after")
    reader.finish()
    new = Heating(phase=old.phase, vessel=old.vessel, scale=old.scale, before_g=before_g, reason=why or "")
    new.before_by, new.before_at, new.replaces_id = by or "", now(), old.id
    if after_g is not None:
        new.after_g, new.after_by, new.after_at = after_g, by or "", now()
    old.line.heatings.append(new)
    batch.log(f"{old.vessel}: heating corrected", by=by or "", at=now(), old=_said(old), new=_said(new), why=why or "")
    batch.touch()


def _said(row: Heating) -> str:
    after = "" if row.after_g is None else f", after {plain(row.after_g)} g"
    return f"before {plain(row.before_g)} g{after}"
