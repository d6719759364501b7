"""Checks of scales, pH meters and thermometers."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.workshop.area import blueprint
from app.work.clock import today
from app.work.form import Faults
from app.work.gear_checks import GearCheckForm, load_gear, record_check

Page = str | Response | tuple[str, int]


@blueprint.get("/workshop/gear")
def gear() -> Page:
    """List the gear with its last checks."""
    return _page(GearCheckForm(checked_on=today().isoformat(), who=context.person()), {})


def _page(form: GearCheckForm, faults: dict[str, str]) -> str:
    return render_template("workshop/gear.html", rows=load_gear(context.store()), faults=faults, form=form)


@blueprint.post("/workshop/gear")
def new_check() -> Page:
    """Record a check."""
    form = GearCheckForm.sent(request.form)
    context.remember_person(form.text["who"])
    try:
        record_check(context.store(), form, key=request.form.get("key", ""))
    except Faults as error:
        return _page(form, error.by_field), 422
    flash("The check is recorded.")
    return redirect(url_for("workshop.gear"), 303)
