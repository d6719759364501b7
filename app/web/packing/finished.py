"""Finished units on hand, and the samples that are kept."""

from collections.abc import Mapping

from flask import Response as Answer
from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.errors import Conflict, NotFound
from app.store.packing import get_run
from app.web import context
from app.web.packing.area import blueprint
from app.web.paging import page_after_skipped
from app.work.clock import today
from app.work.form import Faults, Form
from app.work.packing.finished import PAGE as UNITS_PAGE
from app.work.packing.finished import Of, all_gone, finished_page, finished_rows, low_products
from app.work.packing.samples import (
    PAGE,
    LookForm,
    any_discarded,
    discard_sample,
    get_sample,
    look_at_sample,
    sample_rows,
    units_left,
)
from app.work.packing.units_by_hand import UnitsForm, finished_csv, move_units

Page = str | Response | tuple[str, int]


@blueprint.get("/packing/finished")
def units() -> str:
    """List finished units by product and batch."""
    everything = request.args.get("show", "") == "all"
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: finished_page(session, everything=everything, skip=skip), UNITS_PAGE)
        gone = 0 if everything else all_gone(session)
        low = low_products(session, today())
    show = "all" if everything else ""
    return render_template("packing/finished.html", page=page, gone=gone, low=low, show=show, today=today())


@blueprint.get("/packing/finished.csv")
def units_as_csv() -> Response:
    """Send the list as a file; the byte-order mark tells spreadsheets that it is UTF-8."""
    with context.store().reading() as session:
        text = finished_csv(finished_rows(session))
    answer = Answer("\ufeff" + text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="finished-{today().isoformat()}.csv"'
    return answer


@blueprint.get("/packing/finished/<int:product_id>/<int:batch_id>")
def units_of(product_id: int, batch_id: int) -> Page:
    """Show the units of one product out of one batch, with the form of a count."""
    return _units_page(product_id, batch_id, UnitsForm(who=context.person()), {})


def _units_page(product_id: int, batch_id: int, form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        rows = finished_rows(session, Of(product_id, batch_id))
    if not rows:
        raise NotFound("Nothing of that product was packed out of that batch.")
    return render_template("packing/units.html", row=rows[0], form=form, faults=faults, today=today())


@blueprint.post("/packing/finished/<int:product_id>/<int:batch_id>")
def move(product_id: int, batch_id: int) -> Page:
    """Write a count, or what was used here or thrown away."""
    form = UnitsForm.sent(request.form)
    context.remember_person(form.text["who"])
    try:
        change = move_units(context.store(), product_id, batch_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _units_page(product_id, batch_id, form, wrong.by_field), 422
    flash(f"Saved: {change:+d} units." if change else "Saved: the count agrees.")
    return redirect(url_for("packing.units_of", product_id=product_id, batch_id=batch_id), 303)


@blueprint.get("/packing/samples")
def sample_list() -> str:
    """List the samples that are kept, those due first, or those thrown away."""
    discarded = request.args.get("show") == "discarded"
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: sample_rows(session, discarded=discarded, skip=skip), PAGE)
        others = not discarded and any_discarded(session)
    return render_template("packing/samples.html", page=page, discarded=discarded, others=others)


@blueprint.get("/packing/samples/<int:sample_id>")
def one_sample(sample_id: int) -> Page:
    """Show a sample with what was seen of it."""
    return _sample_page(sample_id, LookForm(who=context.person()), {})


def _sample_page(sample_id: int, form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        sample = get_sample(session, sample_id)
        run = get_run(session, sample.run_id)
    left = units_left(sample)
    return render_template("packing/sample.html", sample=sample, run=run, left=left, form=form, faults=faults)


@blueprint.post("/packing/samples/<int:sample_id>/look")
def look(sample_id: int) -> Page:
    """Write what was seen."""
    form = LookForm.sent(request.form)
    context.remember_person(form.text["who"])
    try:
        look_at_sample(context.store(), sample_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _sample_page(sample_id, form, wrong.by_field), 422
    flash("Saved.")
    return redirect(url_for("packing.one_sample", sample_id=sample_id), 303)


@blueprint.post("/packing/samples/<int:sample_id>/discard")
def discard(sample_id: int) -> Page:
    """Note that a sample was thrown away."""
    who = request.form.get("who", "")
    context.remember_person(who)
    try:
        discard_sample(context.store(), sample_id, who=who)
    except Invalid as wrong:
        return _sample_page(sample_id, LookForm(who=who), {"discard-who": wrong.message}), 422
    except Conflict as conflict:
        flash(str(conflict))
    return redirect(url_for("packing.one_sample", sample_id=sample_id), 303)
