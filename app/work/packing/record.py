"""A packing run as one value: what its page and its paper show."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.bulk_reconciliation import Reconciled
from app.science.tolerance import Band
from app.store.growing import standing
from app.store.packing import FillWeight, PackingRun, get_run
from app.work.deviations import OutOfPlan, undecided
from app.work.packing.deviations import bulk_band, points_of, reconciliation
from app.work.packing.fills import Fills, fills_of
from app.work.packing.packaging_lots import PackagingPiece, pieces_of
from app.work.packing.runs import bulk_left, nominal_g


@dataclass(frozen=True, slots=True)
class PackingRecord:
    """Everything of a run: clearance, packaging, fills, bulk, samples, deviations and history."""

    run: PackingRun
    pieces: tuple[PackagingPiece, ...]
    fills: Fills
    corrected: tuple[tuple[FillWeight, FillWeight], ...]
    bulk: Reconciled | None
    band: Band
    bulk_left_g: Decimal | None
    nominal_g: Decimal | None
    points: tuple[OutOfPlan, ...]

    @property
    def standing(self) -> tuple[FillWeight, ...]:
        """The fill weights that no later one replaces."""
        return tuple(one for one in standing(self.run.weights) if one.grams is not None)

    @property
    def open_points(self) -> tuple[OutOfPlan, ...]:
        """What nobody has decided on yet."""
        return undecided(self.points)


def packing_record(session: Session, run_id: int) -> PackingRecord:
    """Return the record of a packing run, finished or not.

    Raises:
        NotFound: when there is no such run.
    """
    run = get_run(session, run_id)
    by_id = {one.id: one for one in run.weights}
    corrected = tuple((by_id[one.replaces_id], one) for one in run.weights if one.replaces_id is not None)
    # Everything the page and the paper show is read while the session is open.
    _ = run.ticks, run.samples, run.history, run.batch.version.formula
    return PackingRecord(
        run=run,
        pieces=pieces_of(session, run),
        fills=fills_of(run),
        corrected=corrected,
        bulk=reconciliation(run),
        band=bulk_band(run),
        bulk_left_g=bulk_left(session, run.batch),
        nominal_g=nominal_g(run),
        points=points_of(session, run),
    )
