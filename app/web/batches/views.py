"""The list of batches, planning one, and the record of one."""

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.batches import ReadingKind
from app.store.errors import Conflict
from app.web import context
from app.web.batches.forms import PlanForm, weighed_entries
from app.web.row_number import number
from app.work.batches.deciding import decide, what_is_open
from app.work.batches.history import deeds
from app.work.batches.listing import MOST_ROWS, find_batches
from app.work.batches.loading import CLOSED, load_batch
from app.work.batches.observing import add_note, add_reading, record_yield, yield_percent
from app.work.batches.overtaken import clashes, still_typed
from app.work.batches.planning import plan_batch, planning_choices
from app.work.batches.weighing import Faults, record_weighings

blueprint = Blueprint("batches", __name__, url_prefix="/batches")
Page = str | Response | tuple[str, int]


@blueprint.get("")
def index() -> Page:
    """List batches, searched by any words and by state."""
    words, state = request.args.get("q", ""), request.args.get("state", "")
    rows = find_batches(context.store(), words, state)
    return render_template("batches/index.html", rows=rows, most=MOST_ROWS, words=words, state=state)


@blueprint.get("/new")
def new() -> Page:
    """Show the form that plans a batch."""
    return _plan_page(PlanForm.asked(request.args, context.person()), {})


@blueprint.post("/new")
def plan() -> Page:
    """Plan a batch and go to its record."""
    form = PlanForm.posted(request.form)
    context.remember_person(form.made_by)
    try:
        batch_id = plan_batch(context.store(), form.plan())
    except Invalid as error:
        return _plan_page(form, {error.field: error.message}), 422
    return redirect(url_for("batches.show", batch_id=batch_id), 303)


def _plan_page(form: PlanForm, faults: dict[str, str]) -> str:
    choices = planning_choices(context.store(), form.formula_id, form.version_id)
    return render_template("batches/new.html", form=form.with_defaults(choices), choices=choices, faults=faults)


@blueprint.get("/<int:batch_id>")
def show(batch_id: int) -> Page:
    """Show the record of a batch."""
    return _record_page(batch_id)


def _record_page(batch_id: int, faults: dict[str, str] | None = None, typed: dict[str, str] | None = None) -> str:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
        return render_template(
            "batches/show.html",
            batch=batch,
            closed=batch.state in CLOSED,
            history=deeds(batch.history),
            open_points=what_is_open(batch),
            yield_percent=yield_percent(batch),
            kinds=list(ReadingKind),
            faults=faults or {},
            typed=typed or {},
        )


@blueprint.post("/<int:batch_id>/weights")
def weights(batch_id: int) -> Page:
    """Take down weights, lots and initials."""
    who = _who()
    try:
        record_weighings(
            context.store(), batch_id, _row_version(), weighed_entries(request.form), who=who, why=_typed("why")
        )
    except Faults as error:
        return _again(batch_id, error.messages)
    except Conflict as error:
        return _overtaken(batch_id, f"{error} Your weights are not saved: look them over and take them down again.")
    flash("The weights are taken down.")
    return _back(batch_id, "weights")


@blueprint.post("/<int:batch_id>/reading")
def reading(batch_id: int) -> Page:
    """Add a reading."""
    who = _who()
    try:
        add_reading(
            context.store(),
            batch_id,
            kind=_typed("kind"),
            words=_typed("words"),
            temperature=_typed("temperature"),
            who=who,
            key=_typed("key"),
        )
    except Invalid as error:
        return _again(batch_id, {error.field: error.message})
    return _back(batch_id, "readings")


@blueprint.post("/<int:batch_id>/yield")
def came_out(batch_id: int) -> Page:
    """Take down the yield."""
    who = _who()
    try:
        record_yield(context.store(), batch_id, text=_typed("yield"), who=who)
    except Invalid as error:
        return _again(batch_id, {error.field: error.message})
    return _back(batch_id, "readings")


@blueprint.post("/<int:batch_id>/note")
def note(batch_id: int) -> Page:
    """Add a dated note."""
    who = _who()
    try:
        add_note(context.store(), batch_id, text=_typed("note"), who=who, key=_typed("key"))
    except Invalid as error:
        return _again(batch_id, {f"note-{error.field}": error.message})
    return _back(batch_id, "history")


@blueprint.post("/<int:batch_id>/decide")
def decision(batch_id: int) -> Page:
    """Release or reject a batch."""
    who = _who()
    try:
        decide(
            context.store(),
            batch_id,
            _row_version(),
            state=_typed("state"),
            who=who,
            why=_typed("why"),
            key=_typed("key"),
        )
    except Invalid as error:
        return _again(batch_id, {f"decide-{error.field}": error.message})
    flash(f"The batch is {_typed('state')}.")
    return _back(batch_id, "history")


def _typed(name: str) -> str:
    return request.form.get(name, "")


def _who() -> str:
    context.remember_person(_typed("who"))
    return _typed("who")


def _row_version() -> int:
    found = number(_typed("row_version"))
    return -1 if found is None else found


def _again(batch_id: int, faults: dict[str, str]) -> Page:
    return _record_page(batch_id, faults, dict(request.form)), 422


def _overtaken(batch_id: int, words: str) -> Page:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
    faults = {"weights": words} | clashes(batch, weighed_entries(request.form))
    return _record_page(batch_id, faults, still_typed(request.form, batch)), 409


def _back(batch_id: int, anchor: str) -> Response:
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor=anchor), 303)
