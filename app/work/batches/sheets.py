"""The sheet of a planned batch: the pinned version at the size that was planned, with the batch's own weights."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize
from app.store.batches import Batch, BatchLine
from app.store.workshop import Scale, scales
from app.work.batches.loading import load_batch
from app.work.formulas.versions import read_version
from app.work.sheets import BatchSheet, SheetLine, batch_sheet

# A batch outlives the scales it was planned on; its sheet is printed all the same.
NO_SCALE = Scale(name="", readability_g=Decimal("0.01"), capacity_g=Decimal("1e9"))
DECADES = tuple(Decimal(1).scaleb(-places) for places in range(7))


def sheet_of_batch(session: Session, batch_id: int) -> dict[str, Any]:
    """Give what the batch sheet of a planned batch shows; its weights are those that were planned.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    formula = read_version(session, batch.version_id)
    units = int(batch.size_g // batch.fill_g) if batch.fill_g else None
    size = BatchSize(batch.size_g, batch.fill_g, units)
    bench = scales(session)
    sheet = batch_sheet(formula, size, batch.size_text, batch.loss_percent, bench or [NO_SCALE])
    return {
        "sheet": _as_planned(sheet, batch, {scale.name: scale.readability_g for scale in bench}),
        "number": batch.number,
        "planned_on": batch.planned_on,
        "made_by": batch.made_by,
    }


def _as_planned(sheet: BatchSheet, batch: Batch, steps: Mapping[str, Decimal]) -> BatchSheet:
    """Put the planned weights in, line by line: a plan is written in the order of its version."""
    planned = iter([line for line in batch.lines if not line.added_at_bench])
    phases = tuple(
        replace(part, lines=tuple(_line(row, next(planned, None), steps) for row in part.lines))
        for part in sheet.phases
    )
    whole_g = sum((row.shown_g for part in phases for row in part.lines), Decimal(0))
    return replace(sheet, phases=phases, weighed_g=whole_g)


def _line(row: SheetLine, planned: BatchLine | None, steps: Mapping[str, Decimal]) -> SheetLine:
    """Print a weight with the decimals it was planned with, whatever scales the workshop has by now."""
    if planned is None:
        return row
    same = (planned.shown_g, planned.scale) == (row.shown_g, row.scale)
    step_g = steps.get(planned.scale)
    if step_g is None or planned.shown_g % step_g:
        step_g = next((step for step in DECADES if not planned.shown_g % step), DECADES[-1])
    return replace(
        row,
        target_g=planned.target_g,
        shown_g=planned.shown_g,
        scale=planned.scale,
        step_g=step_g,
        advice=row.advice if same else "",
    )
