"""A weighing form that was overtaken by another save: what stands in the record by now beside what was typed."""

from collections.abc import Iterable, Mapping

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.batches import Batch, BatchLine
from app.work.batches.weighing import Weighed, read_weight

FIELDS = ("actual", "lot", "initials")


def clashes(batch: Batch, entries: Iterable[Weighed]) -> dict[str, str]:
    """Say at ``actual-<line>`` where something was typed that the record does not hold."""
    lines = {line.id: line for line in batch.lines}
    known = [(lines[entry.line_id], entry) for entry in entries if entry.line_id in lines]
    return {f"actual-{line.id}": _words(line, entry) for line, entry in known if _differs(line, entry)}


def still_typed(form: Mapping[str, str], batch: Batch) -> dict[str, str]:
    """Keep what was typed, but let a field that was left empty show what somebody else wrote into it."""
    names = {f"{kind}-{line.id}" for line in batch.lines for kind in FIELDS}
    kept = {name: text for name, text in form.items() if name not in names or text.strip()}
    return kept | {"row_version": str(batch.row_version)}


def _differs(line: BatchLine, entry: Weighed) -> bool:
    texts = ((entry.lot, line.lot_code), (entry.initials, line.initials))
    return _other_weight(line, entry.actual) or any(mine.strip() not in {"", theirs} for mine, theirs in texts)


def _other_weight(line: BatchLine, typed: str) -> bool:
    try:
        weight = read_weight(typed, "actual")
    except Invalid:
        return True
    return weight is not None and weight != line.actual_g


def _words(line: BatchLine, entry: Weighed) -> str:
    theirs = _said("" if line.actual_g is None else plain(line.actual_g), line.lot_code, line.initials)
    return f"{line.name}: the record has {theirs} by now; you typed {_said(entry.actual, entry.lot, entry.initials)}."


def _said(weight: str, lot: str, initials: str) -> str:
    bare = weight.strip().removesuffix("g").strip()
    pieces = (f"{bare} g" if bare else "", f"lot {lot.strip()}" if lot.strip() else "", initials.strip())
    return ", ".join(piece[:80] for piece in pieces if piece) or "nothing"
