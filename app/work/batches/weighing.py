"""Recording what was really weighed, from which lot, by whom."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.store.batches import Batch, BatchLine
from app.work.action import action
from app.work.batches.loading import log, open_batch
from app.work.clock import now

HEAVIEST_G = Decimal("1e8")


@dataclass(frozen=True, slots=True)
class Weighed:
    """What was typed for one line: the weight in grams, the lot, the initials."""

    line_id: int
    actual: str
    lot: str
    initials: str


class Faults(Invalid):
    """Several fields need another look; each with its own message."""

    def __init__(self, messages: dict[str, str]) -> None:
        first = next(iter(messages))
        super().__init__(first, messages[first])
        self.messages = messages


@action()
def record_weighings(
    session: Session, batch_id: int, row_version: int, entries: Iterable[Weighed], *, who: str, why: str = ""
) -> None:
    """Take down the weights, lots and initials of a batch; every change goes into its history.

    Raises:
        Faults: with a message at each ``actual-<line>`` that cannot be read; nothing is written.
        Conflict: when the batch is decided, or was changed in the meantime.
    """
    batch = open_batch(session, batch_id, row_version)
    lines = {line.id: line for line in batch.lines}
    known = [(lines[entry.line_id], entry) for entry in entries if entry.line_id in lines]
    weights = _read_weights(known)
    for line, entry in known:
        _take_down(batch, line, entry, weights[line.id], who, why)
    if any(weights.values()):
        batch.start(by=who, at=now())
    batch.touch()


def _read_weights(known: list[tuple[BatchLine, Weighed]]) -> dict[int, Decimal | None]:
    weights: dict[int, Decimal | None] = {}
    faults: dict[str, str] = {}
    for line, entry in known:
        field = f"actual-{line.id}"
        try:
            weights[line.id] = read_weight(entry.actual, field)
        except Invalid as error:
            faults[field] = error.message
    if faults:
        raise Faults(faults)
    return weights


def read_weight(text: str, field: str) -> Decimal | None:
    """Read a weight in grams, with or without the ``g``; None when nothing is typed.

    Raises:
        Invalid: at ``field``, when it cannot be read or is negative.
    """
    bare = text.strip().removesuffix("g").strip()
    return parse_number(bare, field, low=Decimal(0), high=HEAVIEST_G) if bare else None


def _take_down(batch: Batch, line: BatchLine, entry: Weighed, weight: Decimal | None, who: str, why: str) -> None:
    old = {"weight": _words(line.actual_g), "lot": line.lot_code, "initials": line.initials}
    line.actual_g, line.lot_code, line.initials = weight, entry.lot.strip()[:80], entry.initials.strip()[:20]
    new = {"weight": _words(weight), "lot": line.lot_code, "initials": line.initials}
    if old["weight"] != new["weight"]:
        line.weighed_at = now() if weight is not None else None
    for what, before in old.items():
        if before != new[what]:
            log(batch, f"{line.name}: {what}", by=who, old=before, new=new[what], why=why)


def _words(weight: Decimal | None) -> str:
    return "" if weight is None else f"{plain(weight)} g"
