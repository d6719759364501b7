"""The record of a batch to print and to hand over: as a page and as a PDF."""

from flask import make_response, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.batch_record import record_pdf, record_values
from app.documents.papers import PageSetup
from app.documents.render import PaperFault
from app.web import context
from app.web.batches.area import blueprint
from app.web.template_tools import workshop
from app.work.batches.record import batch_record
from app.work.clock import today

Page = str | Response | tuple[str, int]


@blueprint.get("/<int:batch_id>/record")
def record(batch_id: int) -> Page:
    """Show the record as it is printed."""
    with context.store().reading() as session:
        found = batch_record(session, batch_id)
    return render_template("batches/record_page.html", on_page=True, **record_values(found))


@blueprint.get("/<int:batch_id>/record.pdf")
def record_as_pdf(batch_id: int) -> Page:
    """Send the record as a PDF."""
    asked = request.args.get("paper", "")
    with context.store().reading() as session:
        found = batch_record(session, batch_id)
    try:
        paper = record_pdf(found, PageSetup(workshop(), today(), asked if asked in {"A4", "Letter"} else None))
    except PaperFault as error:
        back = url_for("batches.record", batch_id=batch_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer
