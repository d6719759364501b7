"""What a batch cost in fact, as a page and as a PDF."""

from collections.abc import Mapping

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.papers import PageSetup, pdf_named
from app.documents.render import PaperFault
from app.store.errors import NotFound
from app.store.labour import WorkedTime, worked_times
from app.web import context
from app.web.packing.area import blueprint
from app.web.row_number import number
from app.web.template_tools import workshop
from app.work.batches.loading import load_batch
from app.work.clock import today
from app.work.form import Faults
from app.work.packing import labour
from app.work.packing.actual_cost import BatchCost, read_cost
from app.work.packing.listing import runs_of

Page = str | Response | tuple[str, int]


def _cost(batch_id: int) -> BatchCost:
    with context.store().reading() as session:
        found = read_cost(session, batch_id)
    if found is None:
        raise NotFound("Nothing was weighed for this batch yet.")
    return found


@blueprint.get("/packing/costs/<int:batch_id>")
def cost(batch_id: int) -> Page:
    """Show what a batch cost as it is printed, with the time that was worked on it."""
    return _cost_page(batch_id, labour.TimeForm(who=context.person()), {})


def _cost_page(batch_id: int, form: labour.TimeForm, faults: Mapping[str, str], run_id: int | None = None) -> str:
    found = _cost(batch_id)
    with context.store().reading() as session:
        times, runs = worked_times(session, batch_id), {run.id: run.number for run in runs_of(session, batch_id)}
    shown = {"cost": found, "batch": found.batch, "times": times, "runs": runs, "run_id": run_id}
    return render_template("packing/cost_page.html", on_page=True, form=form, faults=faults, **shown)


@blueprint.post("/packing/costs/<int:batch_id>/time")
def time(batch_id: int) -> Page:
    """Note time that was worked."""
    form, run_id = labour.TimeForm.sent(request.form), number(request.form.get("run", "")) or None
    context.remember_person(form.text["who"])
    try:
        labour.note_time(context.store(), batch_id, run_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _cost_page(batch_id, form, wrong.by_field, run_id), 422
    flash("Time saved.")
    return redirect(url_for("packing.cost", batch_id=batch_id, _anchor="time"), 303)


@blueprint.get("/packing/time/<int:time_id>")
def wrong_time(time_id: int) -> Page:
    """Show the form that cancels a time."""
    return _wrong_time(time_id, labour.CancelTimeForm(who=context.person()), {})


def _wrong_time(time_id: int, form: labour.CancelTimeForm, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = session.get(WorkedTime, time_id)
        if found is None:
            raise NotFound("There is no such time.")
        batch = load_batch(session, found.batch_id)
        return render_template("packing/wrong_time.html", time=found, batch=batch, form=form, faults=faults)


@blueprint.post("/packing/time/<int:time_id>")
def cancel_time(time_id: int) -> Page:
    """Cancel a time."""
    form = labour.CancelTimeForm.sent(request.form)
    context.remember_person(form.text["who"])
    try:
        batch_id = labour.cancel_time(context.store(), time_id, form)
    except Faults as wrong:
        return _wrong_time(time_id, form, wrong.by_field), 422
    flash("Time cancelled.")
    return redirect(url_for("packing.cost", batch_id=batch_id, _anchor="time"), 303)


@blueprint.get("/packing/costs/<int:batch_id>.pdf")
def cost_as_pdf(batch_id: int) -> Page:
    """Send what a batch cost as a PDF."""
    asked, found = request.args.get("paper", ""), _cost(batch_id)
    setting = PageSetup(workshop(), today(), asked if asked in {"A4", "Letter"} else None)
    try:
        paper = pdf_named("batch_cost", (found.batch.number,), setting, cost=found, batch=found.batch)
    except PaperFault as error:
        back = url_for("packing.cost", batch_id=batch_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer
