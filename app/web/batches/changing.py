"""Changing the plan of a batch that is not begun, and taking another material for a line that is not weighed."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.errors import Conflict, NotFound
from app.web import context
from app.web.batches.area import blueprint
from app.web.batches.forms import PlanForm
from app.web.batches.page import Page, row_version, typed_in
from app.web.row_number import number
from app.work.batches.changing import change_plan, material_choices, plan_of, swap_material
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
    plan = PlanForm.posted(request.form).plan()
    try:
        change_plan(context.store(), batch_id, row_version(), plan, number=typed_in("number"), who=typed_in("who"))
    except Invalid as error:
        return _plan_page(batch_id, {error.field: error.message}), 422
    except Conflict as error:
        return _plan_page(batch_id, {}, f"{error} Look at what stands in the record now, then save again."), 409
    flash("The plan is changed; print the batch sheet again.")
    return redirect(url_for("batches.show", batch_id=batch_id), 303)


def _plan_page(batch_id: int, faults: dict[str, str], stale: str = "") -> str:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
        products = product_choices(session, batch.version.formula_id)
    posted = request.method == "POST"
    form = PlanForm.posted(request.form) if posted else PlanForm.of(plan_of(batch))
    return render_template(
        "batches/plan.html",
        batch=batch,
        form=form,
        products=products,
        number=typed_in("number") if posted else batch.number,
        who=typed_in("who") if posted else context.person(),
        faults=faults,
        stale=stale,
    )


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
    chosen = number(typed_in("material"))
    try:
        swap_material(
            context.store(),
            batch_id,
            line_id,
            material_id=chosen,
            who=typed_in("who"),
            why=typed_in("why"),
            key=typed_in("key"),
        )
    except Faults as error:
        return _swap_page(batch_id, line_id, error.by_field), 422
    flash("Another material stands in the batch; the deviation waits for a decision.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)
