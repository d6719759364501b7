"""The dossier of a product on paper, and as an archive with the documents it refers to."""

import io
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from app import NAME
from app.documents.labels import LabelDrawing, all_obstacles, drawings_of
from app.documents.paper import plain_name
from app.documents.papers import PageSetup, PdfFile, pdf_named
from app.science.numbers import plain
from app.store.errors import Unusable
from app.store.stock import Document
from app.work.csv_text import write_table
from app.work.labels.content import LabelSet, Obstacle
from app.work.products.annex import headings
from app.work.products.dossier import Dossier, LinkedDocument
from app.work.stock.documents import download_name


@dataclass(frozen=True, slots=True)
class LabelProof:
    """The labels of the product drawn, with what keeps them from being printed for sale."""

    labels: LabelSet
    drawings: dict[int, LabelDrawing]
    obstacles: tuple[Obstacle, ...]


def dossier_values(found: Dossier) -> dict[str, Any]:
    """Return what the page and the paper of a dossier show."""
    proof = None
    if found.labels is not None:
        drawings = drawings_of(found.labels)
        proof = LabelProof(found.labels, drawings, all_obstacles(found.labels, list(drawings.values())))
    return {"dossier": found, "headings": headings(found), "proof": proof}


def dossier_paper(values: dict[str, Any], setting: PageSetup) -> PdfFile:
    """Return the dossier as a PDF.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    found: Dossier = values["dossier"]
    return pdf_named("dossier", (found.formula.code, found.product.name), setting, is_long=True, **values)


CONTENTS = ("file", "what", "title", "about", "dated", "valid_until", "sha256", "remark")
COMPOSITION = ("inci", "percent_w_w", "cas", "functions", "nano", "brought_by")
RESULTS = ("batch", "made_on", "state", "check", "wanted", "reading", "inside")
READ_ME = """Dossier of {name}, {day}

{pdf}
    The dossier: what the workshop knows of the product, by the headings of Annex I part A of
    Regulation (EC) 1223/2009. The assessment (part B) is a qualified person's.
composition.csv
    Every substance with % w/w of the product, CAS number, functions and the materials that bring it.
results.csv
    What was read of the last ten batches, with the limits each was made under.
contents.csv
    The documents, what each is about, and the SHA-256 of its content. A remark says what could not be added.
documents/
    The documents themselves.

Written by {program}.
"""


def dossier_archive(found: Dossier, paper: PdfFile, content_of: Callable[[Document], bytes]) -> bytes:
    """Return the dossier with its tables and every linked document as one zip; ``content_of`` reads a document.

    A document whose file is gone or damaged is named in the contents, with what is wrong with it.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(paper.name, paper.content)
        rows = [_packed(archive, place, one, content_of) for place, one in enumerate(found.documents, start=1)]
        words = READ_ME.format(name=found.product.name, day=found.day.isoformat(), pdf=paper.name, program=NAME)
        archive.writestr("README.txt", words)
        archive.writestr("composition.csv", write_table(COMPOSITION, _composition(found), ("percent_w_w",)))
        archive.writestr("results.csv", write_table(RESULTS, _results(found)))
        archive.writestr("contents.csv", write_table(CONTENTS, rows))
    return out.getvalue()


def _packed(
    archive: zipfile.ZipFile, place: int, linked: LinkedDocument, content_of: Callable[[Document], bytes]
) -> dict[str, str]:
    document = linked.document
    bare = PurePath(download_name(document))
    name = f"documents/{place:03}_{plain_name(document.kind.value, bare.stem)}{bare.suffix}"
    row = {
        "file": name,
        "what": document.kind.value,
        "title": document.name,
        "about": "; ".join(linked.about),
        "dated": document.dated_on.isoformat() if document.dated_on else "",
        "valid_until": document.valid_until.isoformat() if document.valid_until else "",
        "sha256": document.sha256,
    }
    try:
        archive.writestr(name, content_of(document))
    except Unusable as fault:
        return row | {"file": "", "remark": str(fault)}
    return row


def _composition(found: Dossier) -> Iterable[dict[str, str]]:
    for row in found.substances:
        brought = "; ".join(f"{one.material} {plain(one.percent)}" for one in row.total.contributions)
        yield {
            "inci": row.total.inci,
            "percent_w_w": plain(row.total.percent),
            "cas": row.cas,
            "functions": "; ".join(row.functions),
            "nano": "yes" if row.is_nano else "",
            "brought_by": brought,
        }


def _results(found: Dossier) -> Iterable[dict[str, str]]:
    for row in found.batches:
        for one in row.results:
            yield {
                "batch": row.batch.number,
                "made_on": row.made_on.isoformat(),
                "state": row.batch.state.value,
                "check": one.check.what,
                "wanted": one.check.wanted,
                "reading": one.reading.words if one.reading else "",
                "inside": "" if one.reading is None else "yes" if one.is_inside else "no",
            }
