"""What was not as planned in a batch, and who decided on it: no batch is released while anything of it is open."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.numbers import plain, to_places
from app.science.tolerance import Band, checks_of
from app.store.batches import Batch, BatchLine, Deviation
from app.store.errors import NotFound
from app.store.workshop import Workshop, the_workshop
from app.work.action import action
from app.work.batches.loading import open_batch
from app.work.batches.observing import yield_percent
from app.work.clock import now
from app.work.field_reading import FieldReader, clean_text, required_line
from app.work.formulas.versions import formula_of
from app.work.people import person_named

LONGEST = 4_000
UNFINISHED = ("left out", "missing", "no reading", "no yield", "heating")


@dataclass(frozen=True, slots=True)
class OutOfPlan:
    """Something out of plan; ``key`` holds the value that was found, ``answer`` is the deviation decided on just it."""

    key: str
    what: str
    answer: Deviation | None = None

    @property
    def is_unfinished(self) -> bool:
        """Whether it is only not done yet, while the batch is being made."""
        return self.answer is None and self.key.startswith(UNFINISHED)


def out_of_plan(session: Session, batch: Batch) -> tuple[OutOfPlan, ...]:
    """Return what is not as planned: weights, lots, readings, yield, and what was noted by hand, in this order."""
    shop = the_workshop(session)
    decided = {one.key: one for one in batch.deviations if one.key and one.decided_at is not None}
    derived = [*_lines(batch), *_readings(batch), *_yield(batch, shop)]
    noted = [OutOfPlan(f"noted {one.id}", one.what, one if one.decided_at else None) for one in _noted(batch)]
    return (*(OutOfPlan(key, what, decided.get(key)) for key, what in derived), *noted)


def still_open(session: Session, batch: Batch) -> tuple[OutOfPlan, ...]:
    """Return what nobody has decided on yet."""
    return tuple(one for one in out_of_plan(session, batch) if one.answer is None)


def _noted(batch: Batch) -> list[Deviation]:
    return [one for one in batch.deviations if not one.key]


def band_of(line: BatchLine) -> Band | None:
    """Return the band of a line; None where none was agreed when it was planned."""
    return None if line.low_g is None or line.high_g is None else Band(line.low_g, line.high_g)


def _lines(batch: Batch) -> Iterator[tuple[str, str]]:
    for line in batch.lines:
        if not line.is_left_out:
            yield from _weight(line)
            yield from _lots_and_heatings(line)


def _weight(line: BatchLine) -> Iterator[tuple[str, str]]:
    actual, held, band = line.actual_g, line.held_g or Decimal(0), band_of(line)
    adjusted = any(one.session_id is not None for one in line.standing)
    if line.is_swapped:
        yield f"swapped {line.id} {line.material_id}", f"{line.planned_name}: {line.name} was taken in its place."
    if not actual:
        yield f"left out {line.id}", f"{line.name}: {plain(line.shown_g)} g planned, nothing weighed."
    elif line.added_at_bench and not adjusted:
        yield f"added {line.id} {plain(actual)}", f"{line.name}: {plain(actual)} g, not in the formula."
    elif band and not adjusted and not band.holds(held):
        lost = f" less {plain(line.lost_g)} g lost while heating" if line.lost_g else ""
        yield (
            f"weight {line.id} {plain(held)}",
            f"{line.name}: {plain(actual)} g weighed{lost}, {plain(line.shown_g)} g planned"
            f" ({plain(band.low)} to {plain(band.high)} g).",
        )


def _lots_and_heatings(line: BatchLine) -> Iterator[tuple[str, str]]:
    if line.actual_g and any(one.grams and not (one.lot_text or one.lot_id) for one in line.standing):
        yield f"lot {line.id}", f"{line.name}: no lot is written."
    for one in line.standing_heatings:
        if one.after_g is None:
            yield f"heating {one.id}", f"{one.vessel}: weighed before heating and not after it."


def _readings(batch: Batch) -> Iterator[tuple[str, str]]:
    checks = checks_of(formula_of(batch.version))
    for check in checks:
        last = next((one for one in reversed(batch.readings) if check.answers_to(one.kind)), None)
        source = f" ({check.source})" if check.source else ""
        if last is None and check.is_required:
            yield f"missing {check.what}", f"{check.what} was not read; {check.wanted} is wanted{source}."
        elif last is not None and not check.holds(last.value):
            yield f"reading {last.id}", f"{check.what} {last.words} read, {check.wanted} wanted{source}."
    if not checks and not batch.readings:
        yield "no reading", "Nothing was read or looked at."


def _yield(batch: Batch, shop: Workshop) -> Iterator[tuple[str, str]]:
    percent = yield_percent(batch)
    if percent is None:
        yield "no yield", "The yield is not recorded."
        return
    band = Band(shop.yield_low_percent, shop.yield_high_percent)
    if not band.holds(percent):
        shown = plain(to_places(percent, 1))
        wanted = f"{plain(band.low)} to {plain(band.high)} %"
        yield f"yield {plain(batch.yield_g or Decimal(0))}", f"Yield {shown} % of what was weighed in, {wanted} usual."


@dataclass(frozen=True, slots=True)
class TypedDeviation:
    """What was typed about a deviation; ``decided_by`` stays empty while it is only noted."""

    key: str
    what: str
    cause: str
    effect: str
    action: str
    who: str
    decides: bool = True


def read_deviation(session: Session, typed: TypedDeviation, known: str) -> tuple[str, dict[str, str], str]:
    """Return what was not as planned, its cause, effect and action by name, and the full name of who signs it.

    Args:
        known: what was found, in words; empty where a person says it.

    Raises:
        Faults: at ``what``, ``cause``, ``effect``, ``action`` or ``who``.
    """
    reader = FieldReader()
    what = known or reader.read(required_line, typed.what, "what", "Write what was not as planned.")
    texts = {}
    for field in ("cause", "effect", "action"):
        texts[field] = reader.read(clean_text, getattr(typed, field), field, longest=LONGEST) or ""
        if typed.decides and not texts[field]:
            reader.refuse(field, f"Write the {field}.")
    who = reader.read(person_named, session, typed.who, "who", "Write who decides.")
    reader.finish()
    return what or "", texts, who or ""


@action(once="deviation of batch {batch_id}", key="{form_key}")
def record_deviation(session: Session, batch_id: int, typed: TypedDeviation, *, form_key: str = "") -> None:
    """Note a deviation, or decide on one: its cause, effect and action, by whom.

    Raises:
        Faults: at ``what``, ``cause``, ``effect``, ``action`` or ``who``.
        NotFound: when nothing of that key is open.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    found = next((one for one in still_open(session, batch) if one.key == typed.key), None) if typed.key else None
    if typed.key and found is None:
        raise NotFound("That is no longer open; see the record as it is now.")
    what, texts, who = read_deviation(session, typed, found.what if found else "")
    noted = next((one for one in _noted(batch) if f"noted {one.id}" == typed.key), None)
    row = noted or Deviation(key=typed.key, what=what, found_at=now(), found_by=who)
    for field, text in texts.items():
        setattr(row, field, text)
    row.decided_at, row.decided_by = (now(), who) if typed.decides else (None, "")
    if noted is None:
        batch.deviations.append(row)
    words = "deviation decided" if typed.decides else "deviation noted"
    batch.log(words, by=who, at=now(), new=f"{what} {texts['action']}".strip(), why=texts["cause"])
    batch.touch()
