"""A paper from its template: the HTML that the printer's process lays out, and the name of the file."""

import re
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader

from app import NAME
from app.documents import words
from app.store.workshop import Workshop

TEMPLATES = Path(__file__).resolve().parents[2] / "templates"


@cache
def environment() -> Environment:
    """Make the template environment of the papers: everything is escaped."""
    made = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True)
    words.register_filters(made)
    return made


def paper_html(template: str, *, workshop: Workshop, printed_on: date, paper: str | None = None, **values: Any) -> str:
    """Render a paper as the page that is laid out; ``paper`` is A4 or Letter, else the workshop's own."""
    return (
        environment()
        .get_template(template)
        .render(workshop=workshop, paper=paper or workshop.paper.value, printed_on=printed_on, app_name=NAME, **values)
    )


def plain_name(*pieces: str) -> str:
    """Make a name for a file out of words: letters, digits, hyphens and single dots only; without an ending.

    >>> plain_name("batch sheet", "HC/1", "2026-11-25")
    'batch-sheet_HC-1_2026-11-25'
    """
    clean = (re.sub(r"[^A-Za-z0-9.]+|\.{2,}", "-", piece).strip("-.")[:60].rstrip("-.") for piece in pieces)
    return "_".join(piece for piece in clean if piece)


def file_name(*pieces: str) -> str:
    """Make the name of a PDF out of code, version and date.

    >>> file_name("batch sheet", "HC/1", "2026-11-25")
    'batch-sheet_HC-1_2026-11-25.pdf'
    """
    return plain_name(*pieces) + ".pdf"
