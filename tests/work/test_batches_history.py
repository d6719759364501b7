"""The history of a batch is read action by action, and no line of it is lost on the way."""

from datetime import UTC, datetime, timedelta

from app.store.batches import BatchEvent
from app.work.batches.history import actions

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def event(what: str, seconds: float = 0, *, by: str = "Ines", why: str = "") -> BatchEvent:
    return BatchEvent(at=START + timedelta(seconds=seconds), by=by, what=what, old="", new="x", why=why)


def test_weights_taken_down_in_one_go_are_one_action_with_its_details() -> None:
    history = [event("planned"), event("Water: weight", 60), event("Water: lot", 60.1), event("Oil: weight", 60.2)]
    found = actions([*history, event("state", 60.3)])
    assert [one.words for one in found] == ["planned", "weighed: 2 materials", "state"]
    assert [part.what for one in found for part in one.details] == [one.what for one in history] + ["state"]


def test_another_person_another_reason_or_a_later_time_is_another_action() -> None:
    lines = [
        event("Water: weight"),
        event("Water: lot", by="Tom"),
        event("Oil: lot", by="Tom", why="misread"),
        event("Oil: weight", 30, by="Tom", why="misread"),
    ]
    assert [len(one.details) for one in actions(lines)] == [1, 1, 1, 1]


def test_a_reading_and_a_note_stand_alone() -> None:
    lines = [event("reading: pH"), event("reading: pH", 1), event("note", 2), event("note", 3)]
    assert [one.words for one in actions(lines)] == ["reading: pH", "reading: pH", "note", "note"]
    assert actions([]) == ()
