"""The sheet of a planned batch: the version's formula with the weights, scales and advice that were planned."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize
from app.science.formula import Formula
from app.science.scales import Scale
from app.science.weighing import WeighedLine, Weighing
from app.science.weighing_advice import WeighingAdvice
from app.store.batches import Batch
from app.work.batch_sheet import sheet_of
from app.work.batches.loading import load_batch
from app.work.batches.pots import pots_of
from app.work.formulas.pinned_materials import pinned
from app.work.formulas.versions import formula_of
from app.work.rules.open_findings import open_findings


def sheet_of_batch(session: Session, batch_id: int) -> dict[str, Any]:
    """Return what the batch sheet of a planned batch shows; its weights are those that were planned.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    formula = formula_to_make(batch)
    sheet = sheet_of(formula, planned_weighing(batch, formula))
    return {
        "sheet": replace(sheet, findings=open_findings(session, formula), pots=pots_of(session)),
        "size_text": batch.size_text,
        "number": batch.number,
        "product": batch.product_name,
        "planned_on": batch.planned_on,
        "made_by": batch.made_by,
    }


def formula_of_batch(batch: Batch) -> Formula:
    """Return the formula of a batch at the size, fill and loss it was planned with."""
    units = int(batch.size_g // batch.fill_g) if batch.fill_g else None
    size = BatchSize(batch.size_g, batch.fill_g, units)
    return replace(formula_of(batch.version), size=size, loss_percent=batch.loss_percent)


def formula_to_make(batch: Batch) -> Formula:
    """Return the formula of a batch with the materials that stand in for those of its version."""
    swapped = {row.line_key: pinned(row.material)[row.material_id] for row in batch.lines if row.is_swapped}
    formula = formula_of_batch(batch)
    if not swapped:
        return formula
    phases = []
    for phase in formula.phases:
        lines = []
        for line in phase.lines:
            if line.key in swapped:
                note = "; ".join(text for text in (f"in the place of {line.name}", line.note) if text)
                lines.append(replace(line, material=swapped[line.key], note=note))
            else:
                lines.append(line)
        phases.append(replace(phase, lines=tuple(lines)))
    return replace(formula, phases=tuple(phases))


def planned_weighing(batch: Batch, formula: Formula) -> Weighing:
    """Return the weights of a batch as they were planned; a plan is written in the order of its version."""
    planned = [row for row in batch.lines if not row.added_at_bench]
    lines = []
    for line, row in zip(formula.lines, planned, strict=True):
        error = 100 * abs(row.shown_g - row.target_g) / row.target_g if row.target_g else Decimal(0)
        scale = Scale(row.step_g, None, row.scale)
        resolution = scale.resolution_percent(row.target_g)
        advice = WeighingAdvice(row.advice) if row.advice else None
        lines.append(WeighedLine(line, row.target_g, row.shown_g, scale, error, resolution, advice))
    return Weighing(tuple(lines), sum((row.shown_g for row in planned), Decimal(0)))
