"""Rescuing a batch into which too much was poured, at the percentages of its version."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import figures, plain
from app.science.rescue import Poured, Rescue, rescue
from app.science.tolerance import weighing_band
from app.store.batches import Batch, BatchLine, Deviation
from app.store.workshop import vessels
from app.work.action import action
from app.work.batches.deviations import band_of
from app.work.batches.loading import open_batch
from app.work.batches.planned_sheet import formula_of_batch
from app.work.clock import now
from app.work.people import person_named
from app.work.stock.listing import lots_of

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class LineToAdd:
    """A line of the rescue: grams still to add, and what of it is on hand; None where no lot is kept."""

    name: str
    missing_g: Decimal
    target_g: Decimal
    on_hand_g: Decimal | None

    @property
    def is_short(self) -> bool:
        """Whether less is on hand than the rescue needs."""
        return self.on_hand_g is not None and self.on_hand_g < self.missing_g


@dataclass(frozen=True, slots=True)
class OfferedRescue:
    """How a batch is rescued: what was poured too much, what it comes to, and what has to be added.

    ``vessels`` are those of the workshop that hold it, where it is known of any how much it holds.
    """

    cause: str
    total_g: Decimal
    planned_g: Decimal
    lines: tuple[LineToAdd, ...]
    vessels: tuple[str, ...]
    some_vessel_known: bool


def offered_rescue(session: Session, batch: Batch) -> OfferedRescue | None:
    """Return the rescue of a batch; None while no line went over its band, or the batch is decided."""
    over = [line for line in _planned(batch) if (band := band_of(line)) and (line.held_g or ZERO) > band.high]
    found = _rescue(batch)
    if batch.is_decided or not over or found is None:
        return None
    causes = (f"{line.name}: {plain(line.held_g or ZERO)} g for {plain(line.shown_g)} g" for line in over)
    by_id = {str(line.id): line for line in _planned(batch)}
    rows = []
    for key, grams in found.missing.items():
        lots = lots_of(session, material_ids=[by_id[key].material_id])
        on_hand = sum((Decimal(lot.on_hand) for lot in lots), ZERO) if lots else None
        rows.append(LineToAdd(by_id[key].name, grams, found.targets[key], on_hand))
    planned = sum((line.shown_g for line in by_id.values()), ZERO)
    known = [one for one in vessels(session) if one.holds_ml is not None]
    total_ml = found.total_g / (formula_of_batch(batch).density_g_ml or Decimal(1))
    large = tuple(one.name for one in known if (one.holds_ml or ZERO) >= total_ml)
    return OfferedRescue("; ".join(causes), found.total_g, planned, tuple(rows), large, bool(known))


def _planned(batch: Batch) -> list[BatchLine]:
    """Return the lines whose percentages are to be restored: not what was dosed to a pH or came in at the bench."""
    dosed = {line.id for line in batch.lines if any(one.session_id is not None for one in line.standing)}
    return [line for line in batch.lines if not line.added_at_bench and line.id not in dosed]


def _rescue(batch: Batch) -> Rescue | None:
    return rescue([Poured(str(line.id), line.shown_g, line.held_g or ZERO, line.step_g) for line in _planned(batch)])


@action(once="rescue of batch {batch_id}")
def rescue_batch(session: Session, batch_id: int, row_version: int, *, who: str, key: str = "") -> None:
    """Raise every line of a batch to the same multiple of its plan, and note the deviation, to be decided on.

    Raises:
        Invalid: at ``who``, or when nothing was poured beyond its band.
        Conflict: when the batch is decided, or was changed in the meantime.
    """
    batch = open_batch(session, batch_id, row_version)
    by = person_named(session, who, "who", "Enter who does this.")
    offered, found = offered_rescue(session, batch), _rescue(batch)
    if offered is None or found is None:
        raise Invalid("", "No line is above its tolerance, so there is nothing to rescue.")
    for line in _planned(batch):
        # The band of the raised weight, as wide in % as the one that was planned.
        planned, high = line.shown_g, line.high_g
        share = 100 * (high - planned) / planned if high is not None and planned else ZERO
        band = weighing_band(found.targets[str(line.id)], line.step_g, share)
        line.target_g = line.shown_g = found.targets[str(line.id)]
        line.low_g, line.high_g = band.low, band.high
    words = f"Too much added ({offered.cause}); every line raised {figures(found.factor, 4)} times"
    before, after = f"{plain(offered.planned_g)} g", f"{plain(found.total_g)} g"
    batch.log("rescued", by=by, at=now(), old=before, new=after, why=words)
    batch.deviations.append(Deviation(what=f"{words}, to {plain(found.total_g)} g.", found_at=now(), found_by=by))
    batch.touch()
