"""Recording what was weighed: each portion is a row of its own, and a correction is a new row beside the old one."""

from collections.abc import Iterable
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import figures, plain
from app.science.quantities import HEAVIEST_G
from app.store.batches import Batch, BatchLine, BatchWeighing
from app.store.errors import Conflict, NotFound
from app.store.handover import import_of
from app.work.action import action
from app.work.batches.loading import load_batch, open_batch
from app.work.clock import now
from app.work.form import FaultList, Faults, Form, rule
from app.work.form_fields import MaybeGrams, Name, RowId, ShortText
from app.work.gear_checks import due_gear
from app.work.people import SignedBy
from app.work.stock.weighed import bind_lot, settle_lines

LONGEST_LOT, LONGEST_REASON = 120, 500
ZERO = Decimal(0)
SLIP = Decimal(5)  # times the planned weight, above which a weight is asked about (common practice)
DECIMAL_SLIP = Decimal("0.15")  # how near a power of ten a small weight must lie to look like a slip


class WeighingForm(Form):
    """One portion of a line; checked with that line.

    ``sure`` repeats a weight that was asked about; ``tare`` is the weight of a vessel that the scale shows as well.
    """

    line_id = RowId("")
    actual = MaybeGrams("Weighed, g", low=ZERO, high=HEAVIEST_G)
    lot = ShortText("Lot", longest=LONGEST_LOT)
    scale = ShortText("Scale")
    sure = ShortText("Sure")
    tare = MaybeGrams("Vessel, g", low=ZERO, high=HEAVIEST_G)
    filled_by = ("actual", "lot")

    def posted_name(self, name: str) -> str:
        """Return the name of a field, which ends in the number of the line."""
        return f"{name}-{self.text['line_id']}"

    @rule
    def heavier_than_its_vessel(self) -> None:
        """Refuse a vessel that weighs more than the scale shows."""
        if self.grams is not None and self.grams < 0:
            raise Invalid(self.posted_name("tare"), "The vessel weighs more than the scale shows.")

    @rule
    def no_slip_of_the_pen(self) -> None:
        """Ask about a weight that looks like a slip, until it is repeated."""
        if self.grams is not None and self.text["sure"].strip() != self.text["actual"].strip():
            question = slip_question(self.given, self.grams)
            if question:
                raise Invalid(self.posted_name("sure"), question)

    @property
    def grams(self) -> Decimal | None:
        """What was weighed in, less the vessel."""
        return None if self.actual is None else self.actual - (self.tare or ZERO)


class WeigherForm(Form):
    """Who weighed, who checked it, and why a scale is used whose check is overdue."""

    who = SignedBy("Enter who weighed.")
    checked_by = SignedBy()
    gear_reason = ShortText("Reason for using this scale", longest=LONGEST_REASON)

    @rule
    def somebody_else_checked(self) -> None:
        """Refuse a check by the one who weighed."""
        if self.checked_by and self.checked_by == self.who:
            raise Invalid("checked_by", "Somebody else checks a weighing; leave it empty where nobody did.")


@action(once="weights of batch {batch_id}")
def record_weighings(
    session: Session,
    batch_id: int,
    row_version: int,
    entries: Iterable[WeighingForm],
    *,
    who: str,
    checked_by: str = "",
    gear_reason: str = "",
    key: str = "",
) -> None:
    """Record what was weighed, one row for each portion; an empty field records nothing.

    Raises:
        Faults: with a message at each ``actual-<line>`` or ``lot-<line>`` that cannot be read, at ``sure-<line>`` for a
            weight that looks like a slip, and at ``who`` without a name, at
            ``gear_reason`` for a scale whose check is overdue; nothing is written.
        Conflict: when the batch is decided, or was changed in the meantime.
    """
    batch = open_batch(session, batch_id, row_version)
    lines = {line.id: line for line in batch.lines}
    typed = [(lines[entry.line_id], entry) for entry in entries if entry.line_id in lines and not entry.blank]
    if not typed:
        return batch.touch()
    wrong = FaultList()
    signed = wrong.read(WeigherForm(who, checked_by, gear_reason).checked, session)
    by, checked = (signed.who, signed.checked_by) if signed else ("", "")
    portions = [(line, wrong.read(_portion, session, line, entry, by, checked)) for line, entry in typed]
    due = due_gear(session, {one.scale for _, one in portions if one and one.grams})
    for fault in unexplained(due, gear_reason):
        wrong.refuse(fault.field, fault.message)
    wrong.finish()
    note_overdue(batch, due, by=by, why=gear_reason)
    for line, portion in portions:
        if portion is not None:
            # Complete a lot that was noted before, or add another portion.
            noted = next((one for one in line.standing if one.grams is None), None)
            if noted is not None:
                portion.replaces_id = noted.id
                if not portion.lot_text:
                    portion.lot_text, portion.lot_id, portion.reason = noted.lot_text, noted.lot_id, noted.reason
                portion.reason = portion.reason or "weighed"
            line.weighings.append(portion)
            batch.log(f"{line.name}: weight", by=portion.by, at=portion.at, new=weighing_words(portion))
    settle_lines(session, batch, [line for line, _ in portions], by=by)
    batch.start(by=by, at=now()) if any(one and one.grams for _, one in portions) else batch.touch()


def _portion(session: Session, line: BatchLine, entry: WeighingForm, by: str, checked_by: str) -> BatchWeighing:
    """Return the row that a portion becomes; its faults are raised, also where its lot may not be used."""
    form = entry.checked(line)
    made = BatchWeighing(grams=form.grams, lot_text=form.lot, scale=form.scale or line.scale, tare_g=form.tare)
    made.by, made.checked_by, made.at = by, checked_by, now()
    bind_lot(session, line, made, form.posted_name("lot"))
    return made


def unexplained(due: tuple[str, ...], reason: str) -> list[Invalid]:
    """Return the fault of using scales whose check is overdue without a reason, at ``gear_reason``."""
    if not due or reason.strip():
        return []
    words = f"{', '.join(due)}: its check is overdue or failed. Enter why it is used all the same."
    return [Invalid("gear_reason", words)]


def note_overdue(batch: Batch, due: tuple[str, ...], *, by: str, why: str) -> None:
    """Note in the history why scales are used whose check is overdue."""
    if due:
        batch.log("gear overdue", by=by, at=now(), new=", ".join(due), why=why)


def slip_question(line: BatchLine, grams: Decimal) -> str:
    """Return a question where a weight looks like a slip of the pen; empty where it looks right.

    A sum of five times the plan or more is asked about, and so is a first portion that misses the plan by a power of
    ten, as a slipped decimal mark does.
    """
    planned, so_far = line.shown_g, line.actual_g or Decimal(0)
    if planned <= 0 or grams <= 0:
        return ""
    after = so_far + grams
    ratio = after / planned
    if ratio >= SLIP:
        return (
            f"{line.name}: {plain(after)} g is {figures(ratio, 2)} times the planned {plain(planned)} g. Is it right?"
        )
    slipped = any(abs(ratio * power - 1) <= DECIMAL_SLIP for power in (10, 100, 1000))
    if slipped and not so_far:
        return f"{line.name}: {plain(grams)} g looks like a misplaced decimal point of {plain(planned)} g. Is it right?"
    return ""


def weighing_words(weighing: BatchWeighing) -> str:
    """Return a weighing as the history writes it: grams, lot, who checked."""
    parts = (
        "" if weighing.grams is None else f"{plain(weighing.grams)} g",
        f"lot {weighing.lot_text}" if weighing.lot_text else "",
        f"checked by {weighing.checked_by}" if weighing.checked_by else "",
    )
    return ", ".join(part for part in parts if part) or "nothing"


class WeightCorrection(Form):
    """The right weight and lot of a weighing; without grams the weighing is taken back."""

    grams = MaybeGrams("Weight, g", low=ZERO, high=HEAVIEST_G)
    lot = ShortText("Lot", longest=LONGEST_LOT)
    who = SignedBy("Enter who corrects it.")
    reason = Name("Reason", "Enter why it is corrected.")


@action(once="correction of weighing {weighing_id}")
def correct_weighing(
    session: Session, batch_id: int, weighing_id: int, typed: WeightCorrection, *, key: str = ""
) -> None:
    """Correct a weighing by a new row that names the old one and says why; before and after the decision alike.

    Raises:
        Faults: at ``grams``, ``lot``, ``who`` or ``reason``.
        NotFound: when the batch has no such weighing that still stands.
        Conflict: when the batch came in from another workshop.
    """
    batch = load_batch(session, batch_id, for_writing=True)
    if batch.is_decided and import_of(session, "batch", batch_id):
        raise Conflict(f"Batch {batch.number} is a record of another workshop; it is kept as it was made there.")
    standing = {one.id: (line, one) for line in batch.lines for one in line.standing}
    if weighing_id not in standing:
        raise NotFound("There is no such weighing; it may have been corrected already.")
    line, old = standing[weighing_id]
    form = typed.checked(session)
    new = BatchWeighing(
        grams=form.grams,
        lot_text=form.lot,
        scale=old.scale,
        vessel=old.vessel,
        tare_g=old.tare_g,
        by=form.who,
        at=now(),
        replaces_id=old.id,
        reason=form.reason,
        session_id=old.session_id,
        place=old.place,
        heating_id=old.heating_id,
    )
    try:
        # Of a decided batch no second reason is asked: what speaks against a lot today did not while it was weighed.
        bind_lot(session, line, new, "lot", stood=form.lot if batch.is_decided else old.lot_text)
    except Invalid as wrong:
        raise Faults([wrong]) from wrong
    if not batch.is_decided and (new.grams, new.lot_text) == (old.grams, old.lot_text):
        raise Invalid("grams", "Nothing would change.")
    line.weighings.append(new)
    batch.log(
        f"{line.name}: weight corrected",
        by=new.by,
        at=new.at,
        old=weighing_words(old),
        new=weighing_words(new),
        why=new.reason,
    )
    settle_lines(session, batch, [line], by=new.by, why=new.reason)
    if not batch.is_decided:
        batch.touch()
