"""From a page to a PDF: the one function that every paper goes through."""

import atexit
import contextlib
import ctypes
import logging
import multiprocessing
import sys
import threading
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess

from app.documents.worker import serve

LOG = logging.getLogger(__name__)
LONGEST_SECONDS = 20.0
START_SECONDS = 90.0
LONGEST_PAGE = 4_000_000
# About what a second of laying out takes; a sheet of 30 lines has a quarter of it.
LONG_PAGE = 100_000
PRINTING_OR_WAITING = 2
LIBRARIES = (
    ("libpango-1.0-0", "libpango-1.0.so.0", "libpango-1.0.dylib", "libpango-1.0-0.dll", "pango-1.0"),
    ("libpangoft2-1.0-0", "libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib", "libpangoft2-1.0-0.dll", "pangoft2-1.0"),
)
INSTALL = {
    "linux": "install the packages libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0 (Debian, Ubuntu)",
    "darwin": "install pango with Homebrew: brew install pango",
    "win32": "install MSYS2, then in its shell: pacman -S mingw-w64-x86_64-pango",
}


class PaperFault(RuntimeError):
    """A paper could not be made; the message says why, in plain words."""


@dataclass(frozen=True, slots=True)
class PdfState:
    """Whether PDFs can be made here, and what to install when they cannot."""

    ready: bool
    advice: str


@cache
def pdf_state() -> PdfState:
    """Look once whether the libraries that lay out paper are there."""
    if all(any(_loads(name) for name in names) for names in LIBRARIES):
        return PdfState(True, "")
    what = INSTALL.get(sys.platform, INSTALL["linux"])
    return PdfState(False, f"PDFs are off: {what}. Until then, print the page from the browser.")


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


class StillPrintingError(PaperFault):
    """As many papers wait as may; another try in a moment will do."""

    def __init__(self) -> None:
        super().__init__("other papers are still being printed; try again in a moment")


class PdfWorker:
    """One worker process, started when first needed and again after it was stopped; one paper waits at most."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._room = threading.BoundedSemaphore(PRINTING_OR_WAITING)
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None

    def print(self, html: str, seconds: float) -> bytes:
        """Lay a page out.

        Raises:
            StillPrintingError: at once, when another one is waiting already.
            PaperFault: when it cannot be laid out, or takes longer than ``seconds``.
        """
        if not self._room.acquire(blocking=False):
            raise StillPrintingError
        try:
            return self._print_in_turn(html, seconds)
        finally:
            self._room.release()

    def _print_in_turn(self, html: str, seconds: float) -> bytes:
        with self._turn:
            try:
                pipe = self._pipe if self._process and self._process.is_alive() and self._pipe else self._start()
                pipe.send(html)
                if not pipe.poll(seconds):
                    raise PaperFault(f"the sheet took longer than {seconds:g} seconds and was stopped")
                outcome, answer = pipe.recv()
            except (PaperFault, EOFError, OSError) as error:
                self.stop()
                raise (
                    error if isinstance(error, PaperFault) else PaperFault("the sheet could not be laid out")
                ) from error
        if outcome == "refused":
            raise PaperFault(str(answer))
        if outcome == "failed":
            LOG.error("paper: %s", answer)
            raise PaperFault("the sheet could not be laid out; nothing outside the workshop's own files is loaded")
        return bytes(answer)

    def _start(self) -> Connection:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        self._process = context.Process(target=serve, args=(theirs,), daemon=True, name="tarebook-paper")
        self._process.start()
        theirs.close()
        self._pipe = ours
        # A slow machine takes long to load the libraries: that is no fault of the paper, and no reason to begin again.
        if not ours.poll(START_SECONDS):
            raise PaperFault(f"the printer did not start within {START_SECONDS:g} seconds; try again in a moment")
        ours.recv()
        return ours

    def stop(self) -> None:
        """End the process; the next paper starts another."""
        if self._pipe:
            with contextlib.suppress(OSError):
                self._pipe.close()
        if self._process and self._process.is_alive():
            self._process.kill()
            self._process.join(5)
        self._process = self._pipe = None


class Lane(StrEnum):
    """Which process lays a paper out: that of the sheets at the bench, or that of long documents."""

    SHEETS = "sheets"
    LONG = "long"


# A long document does not hold up a sheet: each has a process of its own, and pages never wait for more than these.
_WORKERS = {lane: PdfWorker() for lane in Lane}
for _worker in _WORKERS.values():
    atexit.register(_worker.stop)


def to_pdf(html: str, *, seconds: float = LONGEST_SECONDS, lane: Lane | None = None) -> bytes:
    """Lay a page out as a tagged PDF with embedded fonts, apart from this process and within a time limit.

    Without a ``lane`` its length says which it takes.

    Raises:
        PaperFault: when the libraries are missing, the page is too long, takes too long, or asks for a foreign file.
        StillPrintingError: when as many papers wait as may.
    """
    if not pdf_state().ready:
        raise PaperFault(pdf_state().advice)
    if len(html) > LONGEST_PAGE:
        raise PaperFault("the sheet is too long to be laid out")
    by_length = Lane.LONG if len(html) > LONG_PAGE else Lane.SHEETS
    return _WORKERS[lane or by_length].print(html, seconds)
