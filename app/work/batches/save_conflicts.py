"""A weighing form that another save overtook: what stands in the record now beside what was typed."""

from collections.abc import Iterable, Mapping

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.batches import Batch, BatchLine
from app.work.batches.weighing import WeighingForm


def clashes(batch: Batch, entries: Iterable[WeighingForm]) -> dict[str, str]:
    """Return a message at ``actual-<line>`` for each line that somebody else has weighed in the meantime."""
    lines = {line.id: line for line in batch.lines}
    known = [(lines[entry.line_id], entry) for entry in entries if entry.line_id in lines and not entry.blank]
    return {f"actual-{line.id}": _message(line, entry) for line, entry in known if _differs(line, entry)}


def still_typed(form: Mapping[str, str], batch: Batch) -> dict[str, str]:
    """Return what was typed, to be sent again against the record as it stands now."""
    return {**form, "row_version": str(batch.row_version)}


def _differs(line: BatchLine, entry: WeighingForm) -> bool:
    try:
        grams = entry.actual
    except Invalid:
        return True
    return line.actual_g is not None and (grams, entry.text["lot"].strip()) != (line.actual_g, line.lot_text)


def _message(line: BatchLine, entry: WeighingForm) -> str:
    mine = _said(entry.text["actual"], entry.text["lot"])
    theirs = _said("" if line.actual_g is None else plain(line.actual_g), line.lot_text)
    return (
        f"{line.name}: the record now has {theirs}; you typed {mine}. Empty the field unless yours is another portion."
    )


def _said(weight: str, lot: str) -> str:
    bare = weight.strip().removesuffix("g").strip()
    pieces = (f"{bare} g" if bare else "", f"lot {lot.strip()}" if lot.strip() else "")
    return ", ".join(piece[:80] for piece in pieces if piece) or "nothing"
