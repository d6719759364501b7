"""From a page to a PDF: the one function that every paper goes through."""

import atexit
import contextlib
import ctypes
import logging
import multiprocessing
import sys
import threading
from dataclasses import dataclass
from functools import cache
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess

from app.documents.worker import serve

LOG = logging.getLogger(__name__)
LONGEST_SECONDS = 20.0
LONGEST_PAGE = 4_000_000
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


class _Press:
    """One worker process, started when first needed and again after it was stopped."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None

    def print(self, html: str, seconds: float) -> bytes:
        with self._turn:
            pipe = self._pipe if self._process and self._process.is_alive() and self._pipe else self._start()
            try:
                pipe.send(html)
                if not pipe.poll(seconds):
                    raise PaperFault(f"the sheet took longer than {seconds:g} seconds and was stopped")
                good, answer = pipe.recv()
            except (PaperFault, EOFError, OSError) as error:
                self._stop()
                raise (
                    error if isinstance(error, PaperFault) else PaperFault("the sheet could not be laid out")
                ) from error
        if not good:
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
        return ours

    def _stop(self) -> None:
        if self._pipe:
            with contextlib.suppress(OSError):
                self._pipe.close()
        if self._process and self._process.is_alive():
            self._process.kill()
            self._process.join(5)
        self._process = self._pipe = None


_PRESS = _Press()
atexit.register(_PRESS._stop)


def to_pdf(html: str, *, seconds: float = LONGEST_SECONDS) -> bytes:
    """Lay a page out as a tagged PDF with embedded fonts, apart from this process and within a time limit.

    Raises:
        PaperFault: when the libraries are missing, the page is too long, takes too long, or asks for a foreign file.
    """
    if not pdf_state().ready:
        raise PaperFault(pdf_state().advice)
    if len(html) > LONGEST_PAGE:
        raise PaperFault("the sheet is too long to be laid out")
    return _PRESS.print(html, seconds)
