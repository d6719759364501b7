"""The history of a batch as a person reads it: one action is one line, with its details below."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.store.batches import BatchEvent

WEIGHED = ("weight", "lot", "initials")  # the last two stand in older histories
ONE_ACTION = timedelta(seconds=5)


@dataclass(frozen=True, slots=True)
class Action:
    """What one person did at one time; ``details`` are its lines in the record, in order."""

    details: tuple[BatchEvent, ...]

    @property
    def first(self) -> BatchEvent:
        """The line the action began with."""
        return self.details[0]

    @property
    def at(self) -> datetime:
        """When it was done."""
        return self.first.at

    @property
    def words(self) -> str:
        """The action in words; a single line speaks for itself."""
        if len(self.details) == 1:
            return self.first.what
        materials = {event.what.rpartition(": ")[0] for event in self.details}
        return f"weighed: {len(materials)} {'material' if len(materials) == 1 else 'materials'}"


def actions(history: Sequence[BatchEvent]) -> tuple[Action, ...]:
    """Gather the lines that were written in one go by the same person for the same reason, oldest first."""
    groups: list[list[BatchEvent]] = []
    for event in history:
        before = groups[-1][-1] if groups else None
        if (
            before is not None
            and (before.by, before.why) == (event.by, event.why)
            and _is_weighing(before)
            and _is_weighing(event)
            and event.at - before.at <= ONE_ACTION
        ):
            groups[-1].append(event)
        else:
            groups.append([event])
    return tuple(Action(tuple(group)) for group in groups)


def _is_weighing(event: BatchEvent) -> bool:
    material, _, what = event.what.rpartition(": ")
    return material not in {"", "reading"} and what in WEIGHED
