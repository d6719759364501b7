"""One line after another at the scale: what to weigh now, how much is left, and what was weighed last."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.tolerance import Band
from app.store.batches import Batch, BatchLine, BatchWeighing
from app.store.errors import NotFound
from app.store.workshop import scales
from app.work.batch_sheet import cautions_of
from app.work.batches.deviations import band_of
from app.work.batches.loading import load_batch
from app.work.batches.planned_sheet import formula_to_make


@dataclass(frozen=True, slots=True)
class WeighingStep:
    """What the bench screen shows.

    Attributes:
        batch: with everything that is weighed already.
        line: the line to weigh now; None when nothing is left.
        band: of that line.
        place, of: which line it is of how many; ``left`` are not weighed yet.
        before, after: the lines beside it, for stepping to and fro.
        cautions: of its phase, where it is the first of the phase that is still to be weighed.
        last: what was weighed last, with its line, for correcting it.
        scales: names of the scales; ``vessel_g`` is the weight of the vessel that usually stands on the line's scale.
    """

    batch: Batch
    line: BatchLine | None
    band: Band | None
    place: int
    of: int
    left: int
    before: int | None
    after: int | None
    cautions: tuple[str, ...]
    last: tuple[BatchLine, BatchWeighing] | None
    scales: tuple[str, ...]
    vessel_g: Decimal | None


def bench_step(session: Session, batch_id: int, line_id: int | None = None) -> WeighingStep:
    """Return the step of a line, or of the first line that is not weighed yet.

    Raises:
        NotFound: when there is no such batch, or it has no such line.
    """
    batch = load_batch(session, batch_id)
    lines = [line for line in batch.lines if not line.added_at_bench]
    waiting = [line for line in lines if line.actual_g is None]
    line = waiting[0] if waiting else None
    if line_id is not None:
        line = next((one for one in lines if one.id == line_id), None)
        if line is None:
            raise NotFound("There is no such line in this batch.")
    place = lines.index(line) if line else len(lines)
    weighed = [(one, weighing) for one in batch.lines for weighing in one.standing if weighing.grams is not None]
    gear = scales(session)
    scale = next((one for one in gear if line is not None and one.name == line.scale), None)
    return WeighingStep(
        batch=batch,
        line=line,
        band=band_of(line) if line else None,
        place=place + 1,
        of=len(lines),
        left=len(waiting),
        before=lines[place - 1].id if place > 0 else None,
        after=lines[place + 1].id if place + 1 < len(lines) else None,
        cautions=_cautions(batch, line, waiting),
        last=max(weighed, key=lambda pair: pair[1].id, default=None),
        scales=tuple(one.name for one in gear),
        vessel_g=scale.vessel_g if scale else None,
    )


def _cautions(batch: Batch, line: BatchLine | None, waiting: list[BatchLine]) -> tuple[str, ...]:
    if line is None or next((one for one in waiting if one.phase == line.phase), line) is not line:
        return ()
    phase = next((one for one in formula_to_make(batch).phases if one.letter == line.phase), None)
    return cautions_of(phase) if phase else ()
