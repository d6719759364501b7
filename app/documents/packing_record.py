"""The record of a packing run on paper, with its number and that of the batch on every page."""

from typing import Any

from app.documents.drawings.fills import fill_weights
from app.documents.drawings.shapes import Drawing
from app.documents.paper import file_name
from app.documents.papers import PageSetup, PdfFile, laid_out
from app.documents.render import to_pdf
from app.work.packing.fills import Fills
from app.work.packing.record import PackingRecord


def fills_drawing(fills: Fills) -> Drawing | None:
    """Draw the fill weights of a run against its content; None without a weight."""
    if not fills.values:
        return None
    limits = [float(limit) for limit in fills.limits]
    return fill_weights([float(one) for one in fills.values], float(fills.nominal.base), limits, fills.unit)


def record_values(record: PackingRecord) -> dict[str, Any]:
    """Return what the page and the paper of a run show."""
    return {
        "record": record,
        "run": record.run,
        "batch": record.run.batch,
        "drawing": fills_drawing(record.fills),
    }


def packing_pdf(record: PackingRecord, setting: PageSetup) -> PdfFile:
    """Return the record of a run as a PDF, named by its number.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    html = laid_out("papers/packing_record_pdf.html", setting, **record_values(record))
    return PdfFile(file_name("packing-record", record.run.number), to_pdf(html))
