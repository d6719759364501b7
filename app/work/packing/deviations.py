"""What was not as planned in a packing run, and who decided on it: no run is closed while anything of it is open."""

from collections.abc import Iterator
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.bulk_reconciliation import Reconciled, reconcile
from app.science.errors import Invalid
from app.science.numbers import plain, to_places
from app.science.tolerance import Band
from app.store.packing import Clearance, PackingRun, RunState
from app.work.action import action
from app.work.clock import now
from app.work.deviations import DeviationForm, OutOfPlan, answered, undecided, write_deviation
from app.work.form import Form
from app.work.packing.fills import fills_of, usual_fill_g
from app.work.packing.loading import open_run
from app.work.packing.packaging_lots import pieces_of
from app.work.packing.runs import bulk_left
from app.work.people import SignedBy

UNFINISHED = ("clearance", "no units", "no fills", "no bulk", "no lot", "unused")


def points_of(session: Session, run: PackingRun) -> tuple[OutOfPlan, ...]:
    """Return what is not as planned: clearance, units, fills, packaging, bulk, and what was noted by hand.

    A run that is closed shows what was decided on it.
    """
    if not run.is_open:
        return tuple(OutOfPlan(one.key or f"noted {one.id}", one.what, one) for one in run.deviations)
    derived = [*_clearance(run), *_units(run), *_packaging(session, run), *_bulk(session, run)]
    return answered(derived, run.deviations, UNFINISHED)


def still_open(session: Session, run: PackingRun) -> tuple[OutOfPlan, ...]:
    """Return what nobody has decided on yet."""
    return undecided(points_of(session, run))


def _clearance(run: PackingRun) -> Iterator[tuple[str, str]]:
    for kind in Clearance:
        missing = [tick for tick in run.ticks if tick.kind is kind and tick.done_at is None]
        if missing:
            points = "point" if len(missing) == 1 else "points"
            yield f"clearance {kind.value} {len(missing)}", f"{len(missing)} {points} not ticked {kind.value} packing."


def _units(run: PackingRun) -> Iterator[tuple[str, str]]:
    if not run.units_filled:
        yield "no units", "No unit is recorded."
        return
    fills = fills_of(run)
    if not fills.grams:
        yield "no fills", "No fill weight is recorded."
    elif fills.judged is not None and not fills.judged.passes:
        mean = plain(to_places(fills.mean or Decimal(0), 2))
        yield (
            f"fills {len(fills.grams)} {mean}",
            f"The fills do not meet the declared content: {' '.join(fills.judged.why)}",
        )


def _packaging(session: Session, run: PackingRun) -> Iterator[tuple[str, str]]:
    pieces = pieces_of(session, run)
    without = [piece for piece in pieces if not piece.uses]
    if without:
        numbers = " ".join(str(piece.packaging_id) for piece in without)
        yield f"no lot {numbers}", f"No lot is written for {', '.join(piece.name for piece in without)}."
    for piece in pieces:
        for use in piece.uses:
            if not use.used and not use.spoilt and use.issued != use.returned:
                yield f"unused {use.lot_id}", f"Lot {use.lot.code}: it is not written what became of it."
            elif use.missing:
                what = "are not accounted for" if use.missing > 0 else "more are accounted for than were issued"
                yield (
                    f"pieces {use.lot_id} {plain(use.missing)}",
                    f"Lot {use.lot.code} of {piece.name}: {plain(abs(use.missing))} pieces {what}.",
                )
        low, high = ((run.units_filled - run.units_spoilt) * piece.per_unit, run.units_filled * piece.per_unit)
        if piece.used and piece.per_unit and run.units_filled and not low <= piece.used <= high:
            yield (
                f"used {piece.packaging_id} {plain(piece.used)} {run.units_filled}",
                f"{piece.name}: {plain(piece.used)} pieces used for {run.units_filled} units.",
            )


def reconciliation(run: PackingRun) -> Reconciled | None:
    """Return what became of the bulk of a run; None while bulk, rest or waste are not written or no fill is known."""
    fill = usual_fill_g(run, fills_of(run))
    if not run.bulk_g or run.rest_g is None or run.waste_g is None or fill is None or not run.units_filled:
        return None
    return reconcile(run.bulk_g, run.units_filled, fill, run.rest_g, run.waste_g)


def bulk_band(run: PackingRun) -> Band:
    """Return what of the bulk should be accounted for, in % of what was taken."""
    return Band(run.bulk_low_percent, run.bulk_high_percent)


def _bulk(session: Session, run: PackingRun) -> Iterator[tuple[str, str]]:
    found, band = reconciliation(run), bulk_band(run)
    if found is None:
        yield "no bulk", "Bulk taken, left over and waste are not all written."
    elif not band.holds(found.percent):
        shown = plain(to_places(found.percent, 1))
        wanted = f"{plain(band.low)} to {plain(band.high)} %"
        yield (
            f"bulk {shown}",
            f"{shown} % of the bulk is accounted for ({plain(to_places(found.accounted_g, 1))} of "
            f"{plain(found.taken_g)} g), {wanted} usual.",
        )
    left = bulk_left(session, run.batch)
    if left is None:
        yield "no yield", f"The yield of batch {run.batch.number} is not recorded."
    elif left < 0:
        yield f"more bulk {plain(left)}", f"{plain(-left)} g more were taken than batch {run.batch.number} gave."


@action(once="deviation of run {run_id}")
def record_run_deviation(session: Session, run_id: int, typed: DeviationForm, *, key: str = "") -> None:
    """Note a deviation of a run, or decide on one: its cause, effect and action, by whom.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when nothing of that key is open.
        Conflict: when the run is closed.
    """
    run = open_run(session, run_id)
    write_deviation(session, run, still_open(session, run), typed)


class ClosingForm(Form):
    """Who closes a run."""

    who = SignedBy("Enter who closes it.")


@action(once="closing of run {run_id}")
def close_run(session: Session, run_id: int, row_version: int, *, who: str, key: str = "") -> None:
    """Close a run for good: its good units go to the stock.

    Raises:
        Faults: at ``who``, or at ``close`` while anything is open.
        Conflict: when it is closed already, or changed since it was read.
        NotFound: when there is no such run.
    """
    run = open_run(session, run_id, row_version)
    missing = " ".join(one.what for one in still_open(session, run))
    open_yet = [Invalid("close", f"It cannot be closed while this is open: {missing}")] if missing else []
    by = ClosingForm(who).checked(session, also=open_yet).who
    run.log("closed", by=by, at=now(), new=f"{run.units_to_stock} units to stock")
    session.flush()
    run.state, run.closed_at, run.closed_by = RunState.CLOSED, now(), by
