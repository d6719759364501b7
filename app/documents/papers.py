"""The papers: each from its value to a PDF and a file name."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from app.documents.paper import file_name, paper_html
from app.documents.render import Lane, to_pdf
from app.store.workshop import Workshop


@dataclass(frozen=True, slots=True)
class PdfFile:
    """A PDF with the name it is saved under."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class PageSetup:
    """What every paper of one workshop shares: its settings, the day it is printed, and the paper (A4 or Letter)."""

    workshop: Workshop
    printed_on: date
    paper: str | None = None


def laid_out(template: str, setting: PageSetup, **values: Any) -> str:
    """Return the page of a paper, ready to be printed."""
    return paper_html(template, workshop=setting.workshop, printed_on=setting.printed_on, paper=setting.paper, **values)


def print_paper(kind: str, code: str, version: int | None, setting: PageSetup, **values: Any) -> PdfFile:
    """Lay out one kind of paper (``batch_sheet``, ``cost_sheet``, ``declaration``) of a formula from its values.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    return pdf_named(kind, (code, f"v{version}" if version else "draft"), setting, **values)


LONG_SECONDS = 60.0


def pdf_named(
    kind: str, words: tuple[str, ...], setting: PageSetup, *, is_long: bool = False, **values: Any
) -> PdfFile:
    """Lay out one kind of paper from its values; ``words`` stand in the name of its file.

    One that ``is_long`` keeps out of the way of sheets and may take a minute.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    html = laid_out(f"papers/{kind}_pdf.html", setting, **values)
    name = file_name(kind.replace("_", "-"), *words, setting.printed_on.isoformat())
    content = to_pdf(html, seconds=LONG_SECONDS, lane=Lane.LONG) if is_long else to_pdf(html)
    return PdfFile(name, content)
