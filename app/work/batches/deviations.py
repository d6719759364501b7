"""What was not as planned in a batch, and who decided on it: no batch is released while anything of it is open."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.numbers import plain, to_places
from app.science.tolerance import Band, checks_of
from app.store.batches import Batch, BatchLine
from app.store.stock import Lot
from app.work.action import action
from app.work.batches.batch_readings import yield_percent
from app.work.batches.loading import open_batch
from app.work.deviations import DeviationForm, OutOfPlan, answered, undecided, write_deviation
from app.work.form_fields import is_yes
from app.work.formulas.versions import formula_of

NO_LOT = "lot "
UNFINISHED = ("left out", "missing", "no reading", "no yield", "heating")


def out_of_plan(session: Session, batch: Batch) -> tuple[OutOfPlan, ...]:
    """Return what is not as planned: weights, lots, readings, yield, and what was noted by hand, in this order."""
    lines = [*_lines(batch), *_unknown_lots(session, batch)]
    derived = [*lines, *_readings(batch), *_yield(batch)]
    return answered(derived, batch.deviations, UNFINISHED)


def still_open(session: Session, batch: Batch) -> tuple[OutOfPlan, ...]:
    """Return what nobody has decided on yet."""
    return undecided(out_of_plan(session, batch))


def lines_without_lot(points: Iterable[OutOfPlan]) -> tuple[str, ...]:
    """Return the keys of what nobody has decided on because no lot is written: the same may be said of all of them."""
    return tuple(one.key for one in undecided(points) if one.key.startswith(NO_LOT))


def band_of(line: BatchLine) -> Band | None:
    """Return the band of a line; None where none was agreed when it was planned."""
    return None if line.low_g is None or line.high_g is None else Band(line.low_g, line.high_g)


def _lines(batch: Batch) -> Iterator[tuple[str, str]]:
    for line in batch.lines:
        if not line.is_left_out:
            yield from _weight(line)
            if line.actual_g and any(one.grams and not (one.lot_text or one.lot_id) for one in line.standing):
                yield f"{NO_LOT}{line.id}", f"{line.name}: no lot is written."
            for one in line.standing_heatings:
                if one.after_g is None:
                    yield f"heating {one.id}", f"{one.vessel}: weighed before heating and not after it."


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


def _unknown_lots(session: Session, batch: Batch) -> Iterator[tuple[str, str]]:
    """Yield what was weighed from words that are no lot of the shelf, where lots of that material are kept.

    Of a batch that is decided nothing new is asked: its record keeps what was written, and what was decided on.
    """
    typed = [
        (line, text, reason)
        for line in batch.lines
        for text, reason in {
            one.lot_text: one.reason for one in line.standing if one.grams and one.lot_id is None and one.lot_text
        }.items()
    ]
    if not typed:
        return
    decided_on = {one.key for one in batch.deviations}
    materials = {line.material_id for line, _, _ in typed}
    kept = set(session.scalars(select(Lot.material_id).where(Lot.material_id.in_(materials)).distinct()))
    for line, text, reason in typed:
        key = f"unknown lot {line.id} {text}"
        if line.material_id in kept and (key in decided_on or not batch.is_decided):
            why = f" ({reason})" if reason else ""
            yield key, f"{line.name}: lot {text} is not on the shelf, used all the same{why}."


def _readings(batch: Batch) -> Iterator[tuple[str, str]]:
    checks = checks_of(formula_of(batch.version))
    for check in checks:
        last = batch.reading_for(check)
        source = f" ({check.source})" if check.source else ""
        if last is None and check.is_required:
            yield f"missing {check.what}", f"{check.what} was not read; {check.wanted} is wanted{source}."
        elif last is not None and not check.holds(last.value):
            yield f"reading {last.id}", f"{check.what} {last.words} read, {check.wanted} wanted{source}."
    if not checks and not batch.readings:
        yield "no reading", "Nothing was read or looked at."


def _yield(batch: Batch) -> Iterator[tuple[str, str]]:
    percent = yield_percent(batch)
    if percent is None:
        yield "no yield", "The yield is not recorded."
        return
    low, high = batch.yield_low_percent, batch.yield_high_percent
    if low is not None and high is not None and not low <= percent <= high:
        shown = plain(to_places(percent, 1))
        wanted = f"{plain(low)} to {plain(high)} %"
        yield f"yield {plain(batch.yield_g or Decimal(0))}", f"Yield {shown} % of what was weighed in, {wanted} usual."


@action(once="deviation of batch {batch_id}")
def record_deviation(session: Session, batch_id: int, typed: DeviationForm, *, key: str = "") -> None:
    """Note a deviation, or decide on one: its cause, effect and action, by whom.

    Where it is a line without a lot, the same can be decided of all of those at once.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when nothing of that key is open.
        Conflict: when the batch is decided.
    """
    batch = open_batch(session, batch_id)
    points, asked = still_open(session, batch), typed.text["key"]
    same = lines_without_lot(points) if is_yes(typed.text["alike"]) else ()
    for one in same if asked in same else (asked,):
        write_deviation(session, batch, points, typed.but(key=one))
