"""The people who work here."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.workshop.area import blueprint
from app.work.form import Faults
from app.work.people import PersonForm, add_person, change_presence, load_people

Page = str | Response | tuple[str, int]


@blueprint.get("/workshop/people")
def people() -> Page:
    """List the people."""
    return _page(PersonForm(), {})


def _page(form: PersonForm, faults: dict[str, str]) -> str:
    return render_template("workshop/people.html", rows=load_people(context.store()), faults=faults, form=form)


@blueprint.post("/workshop/people")
def new_person() -> Page:
    """Add a person."""
    form = PersonForm.sent(request.form)
    try:
        add_person(context.store(), form, key=request.form.get("key", ""))
    except Faults as error:
        return _page(form, error.by_field), 422
    flash("The person is added.")
    return redirect(url_for("workshop.people"), 303)


@blueprint.post("/workshop/people/<int:person_id>")
def presence(person_id: int) -> Page:
    """Note that somebody left, or is back."""
    change_presence(context.store(), person_id, left=request.form.get("do") == "left")
    return redirect(url_for("workshop.people"), 303)
