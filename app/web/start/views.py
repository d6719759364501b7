"""The form that starts a workshop of one's own, and the page of the demonstration."""

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web.neighbours import Workshops, neighbours, workshops
from app.work.form import Faults
from app.work.workshop import BeginForm, usual_beginning

Page = str | Response | tuple[str, int]
blueprint = Blueprint("start", __name__)


def _both() -> Workshops:
    return workshops() or abort(404)


@blueprint.get("/start")
def begin() -> Page:
    """Ask for what a workshop of one's own begins with; once it is there, say where."""
    _both()
    form = usual_beginning(request.accept_languages.best and request.accept_languages.best.replace("-", "_"))
    return _form(form, {})


def _form(form: BeginForm, faults: dict[str, str]) -> str:
    return render_template("start/begin.html", form=form, faults=faults, side=neighbours())


@blueprint.post("/start")
def make() -> Page:
    """Make the workshop."""
    form = BeginForm.sent(request.form)
    try:
        _both().begin_own(form)
    except Faults as wrong:
        return _form(form, wrong.by_field), 422
    return redirect(url_for("start.begin"), 303)


@blueprint.get("/demonstration")
def demonstration() -> Page:
    """Say what the demonstration is and what can be done with it."""
    _both()
    return render_template("start/demonstration.html", side=neighbours())


@blueprint.post("/demonstration/afresh")
def renew() -> Page:
    """Make the demonstration afresh."""
    kept = _both().renew_demonstration()
    flash("The demonstration is as on the first day." + (f" The former one is kept as {kept}" if kept else ""))
    return redirect(url_for("start.demonstration"), 303)


@blueprint.post("/demonstration/discard")
def discard() -> Page:
    """Throw the demonstration away."""
    kept = _both().discard_demonstration()
    flash(f"The demonstration is removed. A copy is kept as {kept}")
    return redirect(url_for("start.demonstration"), 303)
