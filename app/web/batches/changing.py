"""Changing the plan of a batch that is not begun, and taking another material for a line that is not weighed."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.store.errors import Conflict, NotFound
from app.web import context
from app.web.batches.area import blueprint
from app.web.batches.page import Page, row_version, typed_in
from app.work.batches.changing import PlanChange, SwapForm, change_plan, material_choices, plan_of, swap_material
from app.work.batches.loading import load_batch
from app.work.batches.planning import product_choices
from app.work.form import Faults


@blueprint.get("/<int:batch_id>/plan")
def planned(batch_id: int) -> Page:
    """Show the plan of a batch, to change it."""
    return _plan_page(batch_id, {})


@blueprint.post("/<int:batch_id>/plan")
def replan(batch_id: int) -> Page:
    """Change the plan of a batch."""
    context.remember_person(typed_in("who"))
    plan = PlanChange.sent(request.form)
    try:
        change_plan(context.store(), batch_id, row_version(), plan, key=typed_in("key"))
    except Faults as wrong:
        return _plan_page(batch_id, wrong.by_field), 422
    except Conflict as error:
        return _plan_page(batch_id, {}, f"{error} Look at what stands in the record now, then save again."), 409
    flash("The plan is changed; print the batch sheet again.")
    return redirect(url_for("batches.show", batch_id=batch_id), 303)


def _plan_page(batch_id: int, faults: dict[str, str], stale: str = "") -> str:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
        products = product_choices(session, batch.version.formula_id)
    posted = request.method == "POST"
    form = PlanChange.sent(request.form) if posted else plan_of(batch).but(who=context.person())
    return render_template("batches/plan.html", batch=batch, form=form, products=products, faults=faults, stale=stale)


@blueprint.get("/<int:batch_id>/lines/<int:line_id>/swap")
def swap(batch_id: int, line_id: int) -> Page:
    """Show the form that takes another material for a line."""
    return _swap_page(batch_id, line_id, {})


def _swap_page(batch_id: int, line_id: int, faults: dict[str, str]) -> str:
    with context.store().reading() as session:
        batch, materials = load_batch(session, batch_id), material_choices(session)
    line = next((one for one in batch.lines if one.id == line_id and one.actual_g is None), None)
    if line is None or line.added_at_bench:
        raise NotFound("There is no such line in this batch that is not weighed yet.")
    typed = request.form.to_dict()
    return render_template("batches/swap.html", batch=batch, line=line, materials=materials, faults=faults, typed=typed)


@blueprint.post("/<int:batch_id>/lines/<int:line_id>/swap")
def swapped(batch_id: int, line_id: int) -> Response | Page:
    """Take another material for a line."""
    context.remember_person(typed_in("who"))
    typed = SwapForm.sent(request.form)
    try:
        swap_material(context.store(), batch_id, line_id, typed, key=typed_in("key"))
    except Faults as error:
        return _swap_page(batch_id, line_id, error.by_field), 422
    flash("Another material stands in the batch; the deviation waits for a decision.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)
