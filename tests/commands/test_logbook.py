"""The log: one record is one line of its own, in UTC, in a file that does not grow for ever."""

import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.commands import logbook

LOG = logging.getLogger("app.bench")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Path]:
    level = logging.getLogger().level
    handler = logbook.start(tmp_path / "tarebook.log")
    yield tmp_path / "tarebook.log"
    logbook.stop(handler)
    logging.getLogger().setLevel(level)


def test_a_record_has_a_time_in_utc(log: Path) -> None:
    record = LOG.makeRecord(LOG.name, logging.INFO, __file__, 1, "weighed %s", ("twice",), None)
    record.created = 1_795_608_000.0
    LOG.handle(record)
    line = log.read_text(encoding="utf-8")
    assert re.fullmatch(r"2026-11-25 12:00:00,\d+Z INFO app\.bench: weighed twice\n", line)


@pytest.mark.parametrize(
    "text",
    ["a\nINFO forged", "a\r\nINFO forged", "a\rINFO forged", "a\x1b[2J", "a\u2028INFO forged", "a\x85INFO forged"],
)
def test_no_text_can_pass_for_another_record(text: str, log: Path) -> None:
    LOG.warning("the name was %s", text)
    first, *rest = log.read_text(encoding="utf-8").rstrip("\n").split("\n")
    assert first.endswith(text.splitlines()[0]) or "\\" in first
    assert all(line.startswith("    | ") for line in rest)
    assert not re.search(r"[\r\x1b\x85\u2028]", first)


def test_a_traceback_belongs_to_its_record(log: Path) -> None:
    try:
        raise ValueError("one\ntwo")
    except ValueError:
        LOG.exception("it broke")
    first, *rest = log.read_text(encoding="utf-8").rstrip("\n").split("\n")
    assert first.endswith("it broke")
    assert rest[-1] == "    | two"
    assert all(line.startswith("    | ") for line in rest)


def test_a_text_that_utf_8_cannot_hold_does_not_stop_the_program(log: Path) -> None:
    # Handed to the file's own handler: the report of the test itself could not be sent between processes.
    record = LOG.makeRecord(LOG.name, logging.WARNING, __file__, 1, "half a pair: %s", ("\ud800",), None)
    for handler in logging.getLogger().handlers:
        if isinstance(handler, logging.handlers.RotatingFileHandler):
            handler.handle(record)
    assert "half a pair: \\ud800" in log.read_text(encoding="utf-8")


def test_the_file_is_rotated(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for handler in logging.getLogger().handlers:
        if isinstance(handler, logging.handlers.RotatingFileHandler):
            monkeypatch.setattr(handler, "maxBytes", 400)
    for number in range(100):
        LOG.info("record %d", number)
    names = sorted(path.name for path in log.parent.iterdir())
    assert names == ["tarebook.log", "tarebook.log.1", "tarebook.log.2", "tarebook.log.3"]
    assert all(path.stat().st_size <= 400 for path in log.parent.iterdir())
