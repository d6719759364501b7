"""The sheet of a planned batch: the version's formula with the weights, scales and advice that were planned."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize
from app.science.formula import Formula, Line
from app.science.scales import Scale
from app.science.weighing import WeighedLine, Weighing
from app.science.weighing_advice import Advice
from app.store.batches import Batch, BatchLine
from app.work.batches.loading import load_batch
from app.work.formulas.versions import formula_of
from app.work.rules.open_findings import open_findings
from app.work.sheets import sheet_of


def sheet_of_batch(session: Session, batch_id: int) -> dict[str, Any]:
    """Return what the batch sheet of a planned batch shows; its weights are those that were planned.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    formula = formula_of_batch(batch)
    return {
        "sheet": replace(sheet_of(formula, planned_weighing(batch, formula)), findings=open_findings(session, formula)),
        "size_text": batch.size_text,
        "number": batch.number,
        "planned_on": batch.planned_on,
        "made_by": batch.made_by,
    }


def formula_of_batch(batch: Batch) -> Formula:
    """Return the formula of a batch at the size, fill and loss it was planned with."""
    units = int(batch.size_g // batch.fill_g) if batch.fill_g else None
    size = BatchSize(batch.size_g, batch.fill_g, units)
    return replace(formula_of(batch.version), size=size, loss_percent=batch.loss_percent)


def planned_weighing(batch: Batch, formula: Formula) -> Weighing:
    """Return the weights of a batch as they were planned; a plan is written in the order of its version."""
    planned = [row for row in batch.lines if not row.added_at_bench]
    lines = tuple(_weighed(line, row) for line, row in zip(formula.lines, planned, strict=True))
    return Weighing(lines, sum((row.shown_g for row in planned), Decimal(0)))


def _weighed(line: Line, row: BatchLine) -> WeighedLine:
    error = 100 * abs(row.shown_g - row.target_g) / row.target_g if row.target_g else Decimal(0)
    scale = Scale(row.step_g, None, row.scale)
    advice = Advice(row.advice) if row.advice else None
    return WeighedLine(line, row.target_g, row.shown_g, scale, error, scale.resolution_percent(row.target_g), advice)
