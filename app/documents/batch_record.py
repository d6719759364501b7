"""The batch record on paper: planned and actual, who and when, with the batch number on every page."""

from typing import Any

from app.documents.paper import file_name
from app.documents.papers import PageSetup, PdfFile, laid_out
from app.documents.render import to_pdf
from app.documents.session_plot import session_plot
from app.work.batches.record import BatchRecord


def record_values(record: BatchRecord) -> dict[str, Any]:
    """Return what the template of the record shows: the record, and the plot of each pH session."""
    plots = {state.record.id: session_plot(state) for state in record.sessions}
    return {"record": record, "batch": record.batch, "plots": plots}


def record_pdf(record: BatchRecord, setting: PageSetup) -> PdfFile:
    """Return the record as a PDF, named by the batch number.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    html = laid_out("papers/batch_record_pdf.html", setting, **record_values(record))
    return PdfFile(file_name("batch-record", record.batch.number), to_pdf(html))
