"""The list of batches, planning one, and the record of one."""

from flask import Response as Answer
from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.batches import BatchState
from app.store.errors import Conflict, NotFound
from app.web import context
from app.web.batches import changing, heating, record, weighing
from app.web.batches.area import blueprint
from app.web.batches.forms import asked_plan, search_asked, weighed_entries, with_usual
from app.web.batches.page import Page, batch_page, done, row_version, typed_in
from app.web.paging import page_after_skipped
from app.web.row_number import number
from app.work.batches.batch_readings import NoteForm, ReadingForm, YieldForm, add_note, add_reading, record_yield
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import record_deviation
from app.work.batches.listing import MOST_ROWS, batches_csv, products_made, search_batches
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch, planning_choices
from app.work.batches.save_conflicts import clashes, still_typed
from app.work.batches.ticks import TickForm, tick
from app.work.batches.weighing import WeightCorrection, correct_weighing, record_weighings
from app.work.clock import today
from app.work.deviations import DeviationForm
from app.work.form import Faults

__all__ = ["blueprint", "changing", "heating", "record", "weighing"]


@blueprint.get("")
def index() -> Page:
    """List batches, searched in any way, a page at a time."""
    search = search_asked(request.args)
    page = page_after_skipped(
        lambda skip: search_batches(context.store(), search, skip=skip, most=MOST_ROWS + 1), MOST_ROWS
    )
    return render_template(
        "batches/index.html",
        page=page,
        asked=request.args,
        states=list(BatchState),
        products=products_made(context.store()),
        query=request.query_string.decode("ascii", "ignore"),
    )


@blueprint.get("/batches.csv")
def as_csv() -> Response:
    """Send what a search finds as a file; the byte-order mark tells spreadsheets that it is UTF-8."""
    answer = Answer("\ufeff" + batches_csv(context.store(), search_asked(request.args)), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="batches-{today().isoformat()}.csv"'
    return answer


@blueprint.get("/new")
def new() -> Page:
    """Show the form that plans a batch."""
    return _plan_page(asked_plan(request.args, context.person()), {}, first=True)


@blueprint.post("/new")
def plan() -> Page:
    """Plan a batch and go to its record."""
    form = Plan.sent(request.form)
    context.remember_person(form.text["made_by"])
    try:
        batch_id = plan_batch(context.store(), form, key=typed_in("key"))
    except Faults as wrong:
        return _plan_page(form, wrong.by_field), 422
    return redirect(url_for("batches.show", batch_id=batch_id), 303)


def _plan_page(form: Plan, faults: dict[str, str], *, first: bool = False) -> str:
    choices = planning_choices(context.store(), form.formula, form.version)
    filled = with_usual(form, choices, sold=first)
    return render_template("batches/new.html", form=filled, key=typed_in("key"), choices=choices, faults=faults)


@blueprint.get("/<int:batch_id>")
def show(batch_id: int) -> Page:
    """Show the record of a batch."""
    return batch_page(batch_id)


@blueprint.post("/<int:batch_id>/weights")
def weights(batch_id: int) -> Page:
    """Record weights and lots."""

    def act() -> None:
        record_weighings(
            context.store(),
            batch_id,
            row_version(),
            weighed_entries(request.form),
            who=typed_in("who"),
            checked_by=typed_in("checked_by"),
            gear_reason=typed_in("gear_reason"),
            key=typed_in("key"),
        )

    context.remember_person(typed_in("who"))
    try:
        act()
    except Conflict as error:
        words = f"{error} Your weights are not saved: check them and save them again."
        with context.store().reading() as session:
            batch = load_batch(session, batch_id)
        faults = {"weights": words} | clashes(batch, weighed_entries(request.form))
        return batch_page(batch_id, faults, still_typed(request.form, batch)), 409
    except Faults:
        return done(batch_id, act, "weights")
    flash("The weights are saved.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)


@blueprint.get("/<int:batch_id>/weighings/<int:weighing_id>")
def one_weighing(batch_id: int, weighing_id: int) -> Page:
    """Show the form that corrects a weighing."""
    return _weighing_page(batch_id, weighing_id, {})


@blueprint.post("/<int:batch_id>/weighings/<int:weighing_id>")
def correct(batch_id: int, weighing_id: int) -> Page:
    """Correct a weighing by a row of its own."""
    context.remember_person(typed_in("who"))
    typed = WeightCorrection.sent(request.form)
    try:
        correct_weighing(context.store(), batch_id, weighing_id, typed, key=typed_in("key"))
    except Faults as error:
        return _weighing_page(batch_id, weighing_id, {fault.field: fault.message for fault in error.faults}), 422
    except Invalid as error:
        return _weighing_page(batch_id, weighing_id, {error.field: error.message}), 422
    flash("The correction is recorded.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)


def _weighing_page(batch_id: int, weighing_id: int, faults: dict[str, str]) -> str:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
    found = [(line, one) for line in batch.lines for one in line.standing if one.id == weighing_id]
    if not found:
        raise NotFound("There is no such weighing; it may have been corrected already.")
    line, one = found[0]
    typed = request.form.to_dict()
    return render_template("batches/weighing.html", batch=batch, line=line, one=one, faults=faults, typed=typed)


@blueprint.post("/<int:batch_id>/reading")
def reading(batch_id: int) -> Page:
    """Record a reading."""

    typed = ReadingForm.sent(request.form)
    return done(batch_id, lambda: add_reading(context.store(), batch_id, typed, key=typed_in("key")), "readings")


@blueprint.post("/<int:batch_id>/yield")
def batch_yield(batch_id: int) -> Page:
    """Record the yield."""

    typed = YieldForm.sent(request.form)
    return done(batch_id, lambda: record_yield(context.store(), batch_id, typed), "readings", prefix="yield-")


@blueprint.post("/<int:batch_id>/note")
def note(batch_id: int) -> Page:
    """Add a dated note."""

    typed, key = NoteForm.sent(request.form), typed_in("key")
    return done(batch_id, lambda: add_note(context.store(), batch_id, typed, key=key), "history", prefix="note-")


@blueprint.post("/<int:batch_id>/deviation")
def deviation(batch_id: int) -> Page:
    """Note a deviation, or decide on one."""
    typed = DeviationForm.sent(request.form).but(decides="yes" if typed_in("do") == "decide" else "")

    def act() -> None:
        record_deviation(context.store(), batch_id, typed, key=typed_in("form_key"))

    return done(batch_id, act, "deviations", prefix="deviation-")


@blueprint.post("/<int:batch_id>/ticks")
def ticks(batch_id: int) -> Page:
    """Tick points of the checklist or steps of the method."""
    ids = [found for text in request.form.getlist("tick") if (found := number(text)) is not None]

    typed = TickForm.sent(request.form)
    return done(batch_id, lambda: tick(context.store(), batch_id, ids, typed), "start-up", prefix="tick-")


@blueprint.post("/<int:batch_id>/decide")
def decision(batch_id: int) -> Page:
    """Release, reject, hold or cancel a batch."""

    typed = BatchDecision.sent(request.form)

    def act() -> None:
        decide(context.store(), batch_id, row_version(), typed, key=typed_in("key"))

    words = "in quarantine" if typed_in("state") == "quarantine" else typed_in("state")
    return done(batch_id, act, "history", prefix="decide-", words=f"The batch is {words}.")
