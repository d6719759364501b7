"""Readings, notes and the yield of a batch."""

from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.store.batches import Batch, BatchReading, ReadingKind
from app.work.action import action
from app.work.batches.loading import CLOSED, load_batch, log, open_batch
from app.work.batches.weighing import read_weight
from app.work.clock import now

LIMITS = {
    ReadingKind.PH: (Decimal(0), Decimal(14)),
    ReadingKind.TEMPERATURE: (Decimal(-30), Decimal(250)),
    ReadingKind.WEIGHT: (Decimal(0), Decimal("1e8")),
}


@action(once="reading of batch {batch_id}")
def add_reading(
    session: Session, batch_id: int, *, kind: str, words: str, temperature: str = "", who: str = "", key: str = ""
) -> None:
    """Add an observation to a batch; a pH, temperature or weight is read as a number.

    Raises:
        Invalid: at ``kind``, ``words`` or ``temperature``.
        Conflict: when the batch is decided already.
    """
    batch = open_batch(session, batch_id)
    batch.record(_reading(kind, words, temperature, who), by=who)


def _reading(kind: str, words: str, temperature: str, who: str) -> BatchReading:
    if kind not in {known.value for known in ReadingKind}:
        raise Invalid("kind", "Choose what was observed.")
    if not words.strip():
        raise Invalid("words", "Write what was read or seen.")
    limits = LIMITS.get(ReadingKind(kind))
    value = parse_number(words, "words", low=limits[0], high=limits[1]) if limits else None
    low, high = LIMITS[ReadingKind.TEMPERATURE]
    warmth = parse_number(temperature, "temperature", low=low, high=high) if temperature.strip() else None
    return BatchReading(
        kind=ReadingKind(kind),
        value=value,
        words=words.strip()[:2000],
        temperature_c=warmth,
        taken_at=now(),
        taken_by=who.strip()[:80],
    )


@action(once="note on batch {batch_id}")
def add_note(session: Session, batch_id: int, *, text: str, who: str, key: str = "") -> None:
    """Add a dated note; the only way to correct a batch that is decided.

    Raises:
        Invalid: at ``note``, when nothing is written, or at ``who`` for a decided batch without a name.
    """
    if not text.strip():
        raise Invalid("note", "Write the note first.")
    batch = load_batch(session, batch_id)
    if batch.state in CLOSED and not who.strip():
        raise Invalid("who", f"Write who adds the note: the batch is {batch.state.value}.")
    log(batch, "note", by=who, new=text.strip()[:4000])


@action()
def record_yield(session: Session, batch_id: int, *, text: str, who: str) -> None:
    """Take down how much finished product came out, in grams.

    Raises:
        Invalid: at ``yield``, when it cannot be read.
        Conflict: when the batch is decided already.
    """
    batch = open_batch(session, batch_id)
    weight = read_weight(text, "yield")
    if weight == batch.yield_g:
        return
    log(batch, "yield", by=who, old=_words(batch.yield_g), new=_words(weight))
    batch.yield_g = weight


def _words(weight: Decimal | None) -> str:
    return "" if weight is None else f"{plain(weight)} g"


def yield_percent(batch: Batch) -> Decimal | None:
    """Give the yield in % of what was weighed in; None until both are known."""
    weighed = sum((line.actual_g for line in batch.lines if line.actual_g is not None), Decimal(0))
    return None if batch.yield_g is None or not weighed else batch.yield_g / weighed * 100
