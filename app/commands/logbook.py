"""The log: one rotated file in the data folder, in UTC, in which no text can pass for a line of its own."""

import logging
import re
import time
from logging.handlers import RotatingFileHandler
from pathlib import Path

LARGEST = 1_000_000
OLDER = 3
CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]")


class OneRecordALine(logging.Formatter):
    """Indent every line after a record's first, and write control characters out."""

    @staticmethod
    def converter(seconds: float | None) -> time.struct_time:
        """Return a time in UTC."""
        return time.gmtime(seconds)

    def format(self, record: logging.LogRecord) -> str:
        """Write one record."""
        text = super().format(record).replace("\r\n", "\n")
        return CONTROL.sub(lambda found: ascii(found[0])[1:-1], text).replace("\n", "\n    | ")


def start(path: Path) -> logging.Handler:
    """Send what the program logs to a file; give the handler, so that it can be closed."""
    handler = RotatingFileHandler(
        path, maxBytes=LARGEST, backupCount=OLDER, encoding="utf-8", errors="backslashreplace"
    )
    handler.setFormatter(OneRecordALine("%(asctime)sZ %(levelname)s %(name)s: %(message)s"))
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    logging.captureWarnings(True)
    return handler


def stop(handler: logging.Handler) -> None:
    """Close the log file."""
    logging.captureWarnings(False)
    logging.getLogger().removeHandler(handler)
    handler.close()
