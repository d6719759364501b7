"""Recording what was weighed: each portion is a row of its own, and a correction is a new row beside the old one."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import figures, plain
from app.science.quantities import HEAVIEST_G, parse_grams
from app.store.batches import Batch, BatchLine, BatchWeighing
from app.store.errors import Conflict, NotFound
from app.store.handover import import_of
from app.work.action import action
from app.work.batches.loading import load_batch, open_batch
from app.work.clock import now
from app.work.field_reading import FieldReader, one_line, required_line
from app.work.gear import due_gear
from app.work.people import person_named
from app.work.stock.weighed import bind_lot, settle_lines

LONGEST_LOT, LONGEST_REASON = 120, 500
SLIP = Decimal(5)  # times the planned weight, above which a weight is asked about (common practice)
DECIMAL_SLIP = Decimal("0.15")  # how near a power of ten a small weight must lie to look like a slip


@dataclass(frozen=True, slots=True)
class TypedWeighing:
    """What was typed for one portion of a line.

    ``sure`` repeats a weight that was asked about; ``tare`` is the weight of a vessel that the scale shows as well.
    """

    line_id: int
    grams: str
    lot: str = ""
    scale: str = ""
    sure: str = ""
    tare: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed."""
        return not (self.grams.strip() or self.lot.strip())


@action(once="weights of batch {batch_id}")
def record_weighings(
    session: Session,
    batch_id: int,
    row_version: int,
    entries: Iterable[TypedWeighing],
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
    typed = [(lines[entry.line_id], entry) for entry in entries if entry.line_id in lines and not entry.is_empty]
    reader = FieldReader()
    by = reader.read(person_named, session, who, "who", "Write who weighed.") if typed else ""
    checked = reader.read(person_named, session, checked_by, "checked_by", "") if checked_by.strip() else ""
    if by and checked == by:
        reader.refuse("checked_by", "Somebody else checks a weighing; leave it empty where nobody did.")
    found = [(line, _read_weighing(reader, line, entry)) for line, entry in typed]
    for line, weighing in found:
        weighing.by, weighing.checked_by = by or "", checked or ""
        reader.read(bind_lot, session, line, weighing, f"lot-{line.id}")
    scales = {weighing.scale for _, weighing in found if weighing.grams}
    ask_about_gear(session, reader, batch, scales, by=by or "", reason=gear_reason)
    reader.finish()
    for line, weighing in found:
        _add(batch, line, weighing)
    settle_lines(session, batch, [line for line, _ in found], by=by or "")
    batch.start(by=by or "", at=now()) if any(weighing.grams for _, weighing in found) else batch.touch()


def ask_about_gear(
    session: Session, reader: FieldReader, batch: Batch, scales: set[str], *, by: str, reason: str
) -> None:
    """Note in the history why a scale is used whose check is overdue; without a reason, fail at ``gear_reason``."""
    due = due_gear(session, scales)
    why = reader.read(one_line, reason, "gear_reason", longest=LONGEST_REASON)
    if due and not why:
        reader.refuse(
            "gear_reason", f"{', '.join(due)}: its check is overdue or failed. Write why it is used all the same."
        )
    elif due:
        batch.log("gear overdue", by=by, at=now(), new=", ".join(due), why=why or "")


def _read_weighing(reader: FieldReader, line: BatchLine, entry: TypedWeighing) -> BatchWeighing:
    grams = reader.read(read_weight, entry.grams, f"actual-{line.id}")
    lot = reader.read(one_line, entry.lot, f"lot-{line.id}", longest=LONGEST_LOT)
    tare = reader.read(read_weight, entry.tare, f"tare-{line.id}")
    if grams is not None and tare is not None:
        grams -= tare
        if grams < 0:
            reader.refuse(f"tare-{line.id}", "The vessel weighs more than the scale shows.")
    if grams is not None and entry.sure.strip() != entry.grams.strip():
        question = slip_question(line, grams)
        if question:
            reader.refuse(f"sure-{line.id}", question)
    return BatchWeighing(grams=grams, lot_text=lot or "", scale=entry.scale or line.scale, tare_g=tare, at=now())


def read_weight(text: str, field: str) -> Decimal | None:
    """Return a typed weight in grams; None when nothing is typed.

    Raises:
        Invalid: at ``field``, when it cannot be read, is negative or a volume.
    """
    return parse_grams(text, field, low=Decimal(0), high=HEAVIEST_G) if text.strip() else None


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


def _add(batch: Batch, line: BatchLine, weighing: BatchWeighing) -> None:
    """Complete a lot that was noted before, or add another portion."""
    noted = next((one for one in line.standing if one.grams is None), None)
    if noted is not None:
        weighing.replaces_id, weighing.reason = noted.id, "weighed"
        if not weighing.lot_text:
            weighing.lot_text, weighing.lot_id = noted.lot_text, noted.lot_id
    line.weighings.append(weighing)
    batch.log(f"{line.name}: weight", by=weighing.by, at=weighing.at, new=weighing_words(weighing))


def weighing_words(weighing: BatchWeighing) -> str:
    """Return a weighing as the history writes it: grams, lot, who checked."""
    parts = (
        "" if weighing.grams is None else f"{plain(weighing.grams)} g",
        f"lot {weighing.lot_text}" if weighing.lot_text else "",
        f"checked by {weighing.checked_by}" if weighing.checked_by else "",
    )
    return ", ".join(part for part in parts if part) or "nothing"


@dataclass(frozen=True, slots=True)
class TypedCorrection:
    """What was typed to correct a weighing; without grams the weighing is taken back."""

    grams: str
    lot: str
    who: str
    reason: str


@action(once="correction of weighing {weighing_id}")
def correct_weighing(
    session: Session, batch_id: int, weighing_id: int, typed: TypedCorrection, *, key: str = ""
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
    reader = FieldReader()
    by = reader.read(person_named, session, typed.who, "who", "Write who corrects it.")
    why = reader.read(required_line, typed.reason, "reason", "Write why it is corrected.")
    grams = reader.read(read_weight, typed.grams, "grams")
    lot = reader.read(one_line, typed.lot, "lot", longest=LONGEST_LOT)
    reader.finish()
    new = BatchWeighing(
        grams=grams,
        lot_text=lot or "",
        scale=old.scale,
        vessel=old.vessel,
        tare_g=old.tare_g,
        by=by or "",
        at=now(),
        replaces_id=old.id,
        reason=why or "",
        session_id=old.session_id,
        place=old.place,
        heating_id=old.heating_id,
    )
    reader.read(bind_lot, session, line, new, "lot")
    reader.finish()
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
