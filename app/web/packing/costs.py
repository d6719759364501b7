"""What a batch cost in fact, as a page and as a PDF."""

from flask import make_response, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.papers import Setting, press_named
from app.documents.render import PaperFault
from app.store.errors import NotFound
from app.web import context
from app.web.packing.area import blueprint
from app.web.template_tools import workshop
from app.work.clock import today
from app.work.packing.actual_cost import BatchCost, read_cost

Page = str | Response | tuple[str, int]


def _cost(batch_id: int) -> BatchCost:
    with context.store().reading() as session:
        found = read_cost(session, batch_id)
    if found is None:
        raise NotFound("Nothing was weighed for this batch yet.")
    return found


@blueprint.get("/packing/costs/<int:batch_id>")
def cost(batch_id: int) -> Page:
    """Show what a batch cost as it is printed."""
    found = _cost(batch_id)
    return render_template("packing/cost_page.html", on_page=True, cost=found, batch=found.batch)


@blueprint.get("/packing/costs/<int:batch_id>.pdf")
def cost_as_pdf(batch_id: int) -> Page:
    """Send what a batch cost as a PDF."""
    asked, found = request.args.get("paper", ""), _cost(batch_id)
    setting = Setting(workshop(), today(), asked if asked in {"A4", "Letter"} else None)
    try:
        paper = press_named("batch_cost", (found.batch.number,), setting, cost=found, batch=found.batch)
    except PaperFault as error:
        back = url_for("packing.cost", batch_id=batch_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer
