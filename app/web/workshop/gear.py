"""Checks of scales, pH meters and thermometers."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.workshop.area import blueprint
from app.work.clock import today
from app.work.form import Faults
from app.work.gear import TypedGearCheck, load_gear, record_check

Page = str | Response | tuple[str, int]
FIELDS = ("gear", "checked_on", "reference", "reading", "limit", "next_due", "who")


@blueprint.get("/workshop/gear")
def gear() -> Page:
    """List the gear with its last checks."""
    return _page({})


def _page(faults: dict[str, str]) -> str:
    typed = {"checked_on": today().isoformat(), **request.form.to_dict()}
    return render_template("workshop/gear.html", rows=load_gear(context.store()), faults=faults, typed=typed)


@blueprint.post("/workshop/gear")
def new_check() -> Page:
    """Record a check."""
    form = request.form
    context.remember_person(form.get("who", ""))
    texts = {name: form.get(name, "") for name in FIELDS}
    typed = TypedGearCheck(**texts, passed=form.get("passed") == "yes")
    try:
        record_check(context.store(), typed, key=form.get("key", ""))
    except Faults as error:
        return _page(error.by_field), 422
    flash("The check is recorded.")
    return redirect(url_for("workshop.gear"), 303)
