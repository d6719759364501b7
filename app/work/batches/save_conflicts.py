"""A weighing form that another save overtook: what stands in the record now beside what was typed."""

from collections.abc import Iterable, Mapping

from app.science.errors import Invalid
from app.science.numbers import plain_or_empty
from app.store.batches import Batch
from app.work.batches.weighing import WeighingForm


def clashes(batch: Batch, entries: Iterable[WeighingForm]) -> dict[str, str]:
    """Return a message at ``actual-<line>`` for each line that somebody else has weighed in the meantime."""
    lines = {line.id: line for line in batch.lines}
    found = {}
    for entry in entries:
        line = lines.get(entry.line_id or 0)
        if line is None or entry.blank:
            continue
        theirs = (line.actual_g, line.lot_text)
        try:
            differs = line.actual_g is not None and (entry.actual, entry.text["lot"].strip()) != theirs
        except Invalid:
            differs = True
        if differs:
            yours = _weighing_words(entry.text["actual"], entry.text["lot"])
            now_there = _weighing_words(plain_or_empty(line.actual_g), line.lot_text)
            found[f"actual-{line.id}"] = (
                f"{line.name}: the record now has {now_there}; you typed {yours}. "
                "Empty the field unless yours is another portion."
            )
    return found


def still_typed(form: Mapping[str, str], batch: Batch) -> dict[str, str]:
    """Return what was typed, to be sent again against the record as it stands now."""
    return {**form, "row_version": str(batch.row_version)}


def _weighing_words(weight: str, lot: str) -> str:
    bare = weight.strip().removesuffix("g").strip()
    pieces = (f"{bare} g" if bare else "", f"lot {lot.strip()}" if lot.strip() else "")
    return ", ".join(piece[:80] for piece in pieces if piece) or "nothing"
