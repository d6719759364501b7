"""Water lost while heating: a vessel weighed before and after, water put back, and what a vessel usually loses."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.heating import LearnedLoss, Pot
from app.science.numbers import plain
from app.science.quantities import HEAVIEST_G
from app.store.batches import Batch, BatchLine, BatchWeighing, Heating
from app.store.errors import NotFound
from app.store.workshop import scales, vessels
from app.work.action import action
from app.work.batch_sheet import WATER_PERCENT, water_percent
from app.work.batches.loading import open_batch
from app.work.batches.planned_sheet import formula_of_batch
from app.work.batches.pots import learned_losses, pots_of
from app.work.batches.weighing import LONGEST_LOT, LONGEST_REASON, SLIP, note_overdue, unexplained, weighing_words
from app.work.clock import now
from app.work.form import FaultList, Faults, Form, rule
from app.work.form_fields import Grams, MaybeGrams, Name, ShortText
from app.work.gear_checks import due_gear
from app.work.people import SignedBy, session_of
from app.work.ph.batch_mixture import materials_of
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


class PotForm(Form):
    """A vessel on a scale; ``sure`` repeats a weight that was asked about."""

    grams = Grams("Weight, g", "Enter what the scale shows.", low=ZERO, high=HEAVIEST_G)
    who = SignedBy("Enter who weighed it.")
    vessel = ShortText("Pot")
    phase = ShortText("Phase", longest=20)
    scale = ShortText("Scale")
    gear_reason = ShortText("Reason for using this scale", longest=LONGEST_REASON)
    sure = ShortText("Sure")
    lot = ShortText("Lot", longest=LONGEST_LOT)

    def posted_name(self, name: str) -> str:
        """Return the name of a field with its part of the page; a reason for the scale stands once on it."""
        return name if name == "gear_reason" else self.at + name


class BeforeForm(PotForm):
    """A vessel before heating."""

    vessel = Name("Pot", "Enter which pot or beaker it is.")

    @rule
    def heavier_than_empty(self) -> None:
        """Refuse a weight that leaves nothing in the vessel."""
        tare = next((one.tare_g for one in vessels(session_of(self)) if one.name == self.vessel), ZERO)
        if self.grams <= tare:
            words = f"{self.vessel} alone weighs {plain(tare)} g; weigh it with what is in it."
            raise Invalid(self.posted_name("grams"), words)


class PotCorrection(Form):
    """The right weights of a vessel before and after heating; checked with the heating that they correct."""

    before = Grams("Before, g", "Enter what the scale showed.", high=HEAVIEST_G)
    after = MaybeGrams("After, g", low=ZERO, high=HEAVIEST_G)
    who = SignedBy("Enter who corrects it.")
    reason = Name("Reason", "Enter why it is corrected.")

    @rule
    def lost_what_it_can_lose(self) -> None:
        """Refuse a loss that is not in the batch, and a gain."""
        if self.after is not None:
            refuse_loss(self.given, self.before, self.after, self.posted_name("after"))


@action(once="heating of batch {batch_id}")
def begin_heating(session: Session, batch_id: int, typed: BeforeForm, *, key: str = "") -> None:
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
    due = due_gear(session, {typed.text["scale"]})
    typed = typed.at_place("pot-", 1)
    form = typed.checked(session, also=unexplained(due, typed.text["gear_reason"]))
    note_overdue(batch, due, by=form.who, why=form.gear_reason)
    row = Heating(phase=form.phase or water.phase, vessel=form.vessel, scale=form.scale, before_g=form.grams)
    row.before_by, row.before_at = form.who, now()
    water.heatings.append(row)
    batch.log(f"{form.vessel}: before heating", by=form.who, at=row.before_at, new=f"{plain(row.before_g)} g")
    batch.start(by=form.who, at=row.before_at)


@action(once="heating {heating_id}, after")
def end_heating(session: Session, batch_id: int, heating_id: int, typed: PotForm, *, key: str = "") -> None:
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
    due = due_gear(session, {row.scale})
    typed = typed.at_place("after-", 1)
    form = typed.checked(session, also=unexplained(due, typed.text["gear_reason"]))
    try:
        refuse_loss(row, row.before_g, form.grams, "after-grams")
    except Invalid as wrong:
        raise Faults([wrong]) from wrong
    note_overdue(batch, due, by=form.who, why=form.gear_reason)
    row.after_g, row.after_by, row.after_at = form.grams, form.who, now()
    lost = f"{plain(row.after_g or ZERO)} g, {plain(row.lost_g or ZERO)} g lost"
    batch.log(f"{row.vessel}: after heating", by=form.who, at=row.after_at, old=f"{plain(row.before_g)} g", new=lost)
    batch.touch()


def refuse_loss(row: Heating, before: Decimal, after: Decimal, field: str) -> None:
    """Refuse a vessel that gained, or lost more than the water in the batch.

    Raises:
        Invalid: at ``field``.
    """
    water = row.line
    if after > before:
        words = f"It weighed {plain(before)} g before and cannot have gained. What was added is weighed apart."
        raise Invalid(field, words)
    if before - after > max(water.actual_g or ZERO, water.shown_g) - water.lost_g + (row.lost_g or ZERO):
        raise Invalid(field, f"That is {plain(before - after)} g less, more than the water in the batch.")


def _heating(batch: Batch, heating_id: int) -> Heating:
    row = next((one for one in batch.heatings if one.id == heating_id), None)
    if row is None:
        raise NotFound("There is no such heating; it may have been corrected already.")
    return row


@action(once="water put back after heating {heating_id}")
def put_water_back(session: Session, batch_id: int, heating_id: int, typed: PotForm, *, key: str = "") -> None:
    """Record water that was put back after heating: a weighing of the line of water.

    Raises:
        Faults: at ``back-grams``, ``back-lot``, ``back-who`` or ``gear_reason``; at ``back-sure`` when it is far more
            than was lost.
        NotFound: when there is no such heating.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    row = _heating(batch, heating_id)
    line = row.line
    typed = typed.at_place("back-", 1)
    due = due_gear(session, {typed.text["scale"] or line.scale})
    form = typed.checked(session, also=unexplained(due, typed.text["gear_reason"]))
    weighing = BatchWeighing(
        grams=form.grams, lot_text=form.lot, scale=form.scale or line.scale, vessel=row.vessel, by=form.who, at=now()
    )
    weighing.heating_id = row.id
    wrong = FaultList()
    if (
        form.grams >= SLIP * max(row.missing_g, line.step_g)
        and typed.text["sure"].strip() != typed.text["grams"].strip()
    ):
        question = f"{plain(form.grams)} g put back, {plain(row.missing_g)} g to put back. Is it right?"
        wrong.refuse("back-sure", question)
    wrong.read(bind_lot, session, line, weighing, "back-lot")
    wrong.finish()
    note_overdue(batch, due, by=form.who, why=form.gear_reason)
    line.weighings.append(weighing)
    batch.log(f"{line.name}: put back after heating", by=form.who, at=weighing.at, new=weighing_words(weighing))
    settle_lines(session, batch, [line], by=form.who)
    batch.touch()


@action(once="correction of heating {heating_id}")
def correct_heating(session: Session, batch_id: int, heating_id: int, typed: PotCorrection, *, key: str = "") -> None:
    """Correct the weights of a vessel by a new row that names the old one and says why.

    Raises:
        Faults: at ``fix-before``, ``fix-after``, ``fix-who`` or ``fix-reason``.
        NotFound: when there is no such heating that still stands.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    old = _heating(batch, heating_id)
    form = typed.at_place("fix-", 1).checked(old)
    new = Heating(phase=old.phase, vessel=old.vessel, scale=old.scale, before_g=form.before, reason=form.reason)
    new.before_by, new.before_at, new.replaces_id = form.who, now(), old.id
    if form.after is not None:
        new.after_g, new.after_by, new.after_at = form.after, form.who, now()
    old.line.heatings.append(new)
    what = f"{old.vessel}: heating corrected"
    batch.log(what, by=form.who, at=now(), old=_heating_words(old), new=_heating_words(new), why=form.reason)
    batch.touch()


def _heating_words(row: Heating) -> str:
    after = "" if row.after_g is None else f", after {plain(row.after_g)} g"
    return f"before {plain(row.before_g)} g{after}"
