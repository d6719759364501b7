"""Weighing at the bench, one line at a time; and the rescue of what was poured too much."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.errors import Conflict
from app.web import context
from app.web.batches.area import blueprint
from app.web.batches.forms import weighed_entries
from app.web.row_number import number
from app.work.batches.at_bench import bench_step
from app.work.batches.rescuing import rescue_batch
from app.work.batches.weighing import record_weighings
from app.work.form import Faults

Page = str | Response | tuple[str, int]


@blueprint.get("/<int:batch_id>/weigh")
def weigh(batch_id: int) -> Page:
    """Show what to weigh now."""
    return _page(batch_id, number(request.args.get("line", "")), {})


def _page(batch_id: int, line_id: int | None, faults: dict[str, str], stale: str = "") -> str:
    with context.store().reading() as session:
        step = bench_step(session, batch_id, line_id)
    typed = request.form.to_dict()
    return render_template("batches/weigh.html", step=step, batch=step.batch, faults=faults, typed=typed, stale=stale)


@blueprint.post("/<int:batch_id>/weigh")
def weighed(batch_id: int) -> Page:
    """Record what the scale showed, and go to the next line."""
    form = request.form
    context.remember_person(form.get("who", ""))
    line_id, version = number(form.get("line", "")), number(form.get("row_version", ""))
    try:
        record_weighings(
            context.store(),
            batch_id,
            -1 if version is None else version,
            weighed_entries(form),
            who=form.get("who", ""),
            checked_by=form.get("checked_by", ""),
            gear_reason=form.get("gear_reason", ""),
            key=form.get("key", ""),
        )
    except Faults as error:
        return _page(batch_id, line_id, error.by_field), 422
    except Conflict as error:
        return _page(batch_id, line_id, {}, f"{error} See what is here now, then save again."), 409
    return redirect(url_for("batches.weigh", batch_id=batch_id), 303)


@blueprint.post("/<int:batch_id>/rescue")
def rescued(batch_id: int) -> Page:
    """Raise every line to what was poured too much."""
    form = request.form
    version = number(form.get("row_version", ""))
    who, key = form.get("who", ""), form.get("key", "")
    context.remember_person(who)
    try:
        rescue_batch(context.store(), batch_id, -1 if version is None else version, who=who, key=key)
    except Invalid as error:
        flash(error.message)
        return redirect(url_for("batches.show", batch_id=batch_id, _anchor="rescue"), 303)
    flash("Every line is raised; the deviation waits for a decision.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)
