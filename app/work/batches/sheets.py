"""The sheet of a planned batch: the pinned version at the size that was planned, with the batch's own weights."""

from dataclasses import replace
from typing import Any

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize
from app.store.batches import Batch, BatchLine
from app.store.workshop import scales
from app.work.batches.loading import load_batch
from app.work.formulas.versions import read_version
from app.work.sheets import BatchSheet, SheetLine, batch_sheet


def sheet_of_batch(session: Session, batch_id: int) -> dict[str, Any]:
    """Give what the batch sheet of a planned batch shows; its weights are those that were planned.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    formula = read_version(session, batch.version_id)
    units = int(batch.size_g // batch.fill_g) if batch.fill_g else None
    size = BatchSize(batch.size_g, batch.fill_g, units)
    sheet = batch_sheet(formula, size, batch.size_text, batch.loss_percent, scales(session))
    return {
        "sheet": _as_planned(sheet, batch),
        "number": batch.number,
        "planned_on": batch.planned_on,
        "made_by": batch.made_by,
    }


def _as_planned(sheet: BatchSheet, batch: Batch) -> BatchSheet:
    planned = {(line.phase, line.name): line for line in batch.lines}
    phases = tuple(
        replace(part, lines=tuple(_line(row, planned.get((row.line.phase, row.line.name))) for row in part.lines))
        for part in sheet.phases
    )
    return replace(sheet, phases=phases)


def _line(row: SheetLine, planned: BatchLine | None) -> SheetLine:
    if planned is None or planned.shown_g == row.shown_g:
        return row
    return replace(row, target_g=planned.target_g, shown_g=planned.shown_g, scale=planned.scale)
