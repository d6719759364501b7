"""The list of batches, planning one, and the record of one."""

from collections.abc import Callable
from urllib.parse import urlencode

from flask import Response as Answer
from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.batches import BatchState
from app.store.errors import Conflict, NotFound
from app.web import context
from app.web.batches import record, weighing
from app.web.batches.area import blueprint
from app.web.batches.forms import PlanForm, search_asked, weighed_entries
from app.web.row_number import number
from app.web.template_tools import workshop
from app.work.batches.as_made import as_made
from app.work.batches.deciding import decide, what_is_open
from app.work.batches.deviations import TypedDeviation, out_of_plan, record_deviation
from app.work.batches.history import actions
from app.work.batches.listing import MOST_ROWS, batches_csv, products_made, search_batches
from app.work.batches.loading import load_batch
from app.work.batches.observing import add_note, add_reading, kinds_of, record_yield, yield_percent
from app.work.batches.planning import plan_batch, planning_choices
from app.work.batches.rescuing import offered_rescue
from app.work.batches.save_conflicts import clashes, still_typed
from app.work.batches.sections import links, shown
from app.work.batches.ticks import tick
from app.work.batches.weighing import TypedCorrection, correct_weighing, record_weighings
from app.work.clock import today
from app.work.form import Faults

__all__ = ["blueprint", "record", "weighing"]
Page = str | Response | tuple[str, int]


@blueprint.get("")
def index() -> Page:
    """List batches, searched in any way, a page at a time."""
    skip = number(request.args.get("skip", "")) or 0
    rows = search_batches(context.store(), search_asked(request.args), skip=skip, most=MOST_ROWS + 1)
    return render_template(
        "batches/index.html",
        rows=rows[:MOST_ROWS],
        more=len(rows) > MOST_ROWS,
        skip=skip,
        most=MOST_ROWS,
        asked=request.args,
        states=list(BatchState),
        products=products_made(context.store()),
        query=request.query_string.decode("ascii", "ignore"),
        newer=_page_from(max(skip - MOST_ROWS, 0)),
        older=_page_from(skip + MOST_ROWS),
    )


def _page_from(skip: int) -> str:
    asked = {name: text for name, text in request.args.items() if name != "skip"}
    return f"?{urlencode({**asked, 'skip': skip})}"


@blueprint.get("/batches.csv")
def as_csv() -> Response:
    """Send what a search finds as a file; the byte-order mark tells spreadsheets that it is UTF-8."""
    answer = Answer("\ufeff" + batches_csv(context.store(), search_asked(request.args)), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="batches-{today().isoformat()}.csv"'
    return answer


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
        sections = shown(session, batch)
        deviations = out_of_plan(session, batch)
        open_points = [] if batch.is_decided else what_is_open(session, batch)
        made = as_made(session, batch)
        rescue = offered_rescue(session, batch)
    return render_template(
        "batches/show.html",
        batch=batch,
        closed=batch.is_decided,
        history=actions(batch.history),
        open_points=open_points,
        deviations=deviations,
        made=made,
        rescue=rescue,
        two_people=workshop().two_people,
        yield_percent=yield_percent(batch),
        sections=sections,
        links=links(batch),
        styles=dict.fromkeys(sheet for one in sections for sheet in one.section.styles),
        kinds=kinds_of(batch),
        faults=faults or {},
        typed=typed or {},
        again=request.endpoint.rpartition(".")[2] if request.endpoint else "",
    )


Act = Callable[[], object]


def _done(batch_id: int, act: Act, anchor: str, *, prefix: str = "", words: str = "") -> Page:
    """Do an action and go back to the record; what is wrong comes back beside what was typed."""
    context.remember_person(_typed("who"))
    try:
        act()
    except Faults as error:
        return _again(batch_id, {f"{prefix}{fault.field}": fault.message for fault in error.faults}, 422)
    except Invalid as error:
        return _again(batch_id, {f"{prefix}{error.field}": error.message}, 422)
    except Conflict as error:
        return _again(batch_id, {anchor: f"{error} It is not saved. You typed: {_all_typed()}."}, 409)
    if words:
        flash(words)
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor=anchor), 303)


@blueprint.post("/<int:batch_id>/weights")
def weights(batch_id: int) -> Page:
    """Record weights and lots."""

    def act() -> None:
        record_weighings(
            context.store(),
            batch_id,
            _row_version(),
            weighed_entries(request.form),
            who=_typed("who"),
            checked_by=_typed("checked_by"),
            gear_reason=_typed("gear_reason"),
            key=_typed("key"),
        )

    context.remember_person(_typed("who"))
    try:
        act()
    except Conflict as error:
        return _overtaken(batch_id, f"{error} Your weights are not saved: look them over and save them again.")
    except Faults:
        return _done(batch_id, act, "weights")
    flash("The weights are saved.")
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor="weights"), 303)


@blueprint.get("/<int:batch_id>/weighings/<int:weighing_id>")
def one_weighing(batch_id: int, weighing_id: int) -> Page:
    """Show the form that corrects a weighing."""
    return _weighing_page(batch_id, weighing_id, {})


@blueprint.post("/<int:batch_id>/weighings/<int:weighing_id>")
def correct(batch_id: int, weighing_id: int) -> Page:
    """Correct a weighing by a row of its own."""
    context.remember_person(_typed("who"))
    typed = TypedCorrection(_typed("grams"), _typed("lot"), _typed("who"), _typed("reason"))
    try:
        correct_weighing(context.store(), batch_id, weighing_id, typed, key=_typed("key"))
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

    def act() -> None:
        words, warmth = _typed("words"), _typed("temperature")
        add_reading(
            context.store(),
            batch_id,
            kind=_typed("kind"),
            words=words,
            temperature=warmth,
            who=_typed("who"),
            key=_typed("key"),
        )

    return _done(batch_id, act, "readings")


@blueprint.post("/<int:batch_id>/yield")
def batch_yield(batch_id: int) -> Page:
    """Record the yield."""
    return _done(
        batch_id, lambda: record_yield(context.store(), batch_id, text=_typed("yield"), who=_typed("who")), "readings"
    )


@blueprint.post("/<int:batch_id>/note")
def note(batch_id: int) -> Page:
    """Add a dated note."""

    def act() -> None:
        add_note(context.store(), batch_id, text=_typed("note"), who=_typed("who"), key=_typed("key"))

    return _done(batch_id, act, "history", prefix="note-")


@blueprint.post("/<int:batch_id>/deviation")
def deviation(batch_id: int) -> Page:
    """Note a deviation, or decide on one."""
    texts = {name: _typed(name) for name in ("key", "what", "cause", "effect", "action", "who")}
    typed = TypedDeviation(**texts, decides=_typed("do") == "decide")

    def act() -> None:
        record_deviation(context.store(), batch_id, typed, form_key=_typed("form_key"))

    return _done(batch_id, act, "deviations", prefix="deviation-")


@blueprint.post("/<int:batch_id>/ticks")
def ticks(batch_id: int) -> Page:
    """Tick points of the checklist or steps of the method."""
    ids = [found for text in request.form.getlist("tick") if (found := number(text)) is not None]

    def act() -> None:
        tick(
            context.store(),
            batch_id,
            ids,
            who=_typed("who"),
            temperature=_typed("temperature"),
            remark=_typed("remark"),
        )

    return _done(batch_id, act, "start-up", prefix="tick-")


@blueprint.post("/<int:batch_id>/decide")
def decision(batch_id: int) -> Page:
    """Release, reject, hold or cancel a batch."""

    def act() -> None:
        decide(
            context.store(),
            batch_id,
            _row_version(),
            state=_typed("state"),
            who=_typed("who"),
            why=_typed("why"),
            key=_typed("key"),
        )

    words = "in quarantine" if _typed("state") == "quarantine" else _typed("state")
    return _done(batch_id, act, "history", prefix="decide-", words=f"The batch is {words}.")


def _typed(name: str) -> str:
    return request.form.get(name, "")


def _all_typed() -> str:
    """Return what a form held that finds no field on the page any more, so that nothing typed is lost."""
    typed = {name: text for name, text in request.form.items() if name not in {"key", "row_version", "state"}}
    return "; ".join(f"{name} {text.strip()}" for name, text in typed.items() if text.strip()) or "nothing"


def _row_version() -> int:
    found = number(_typed("row_version"))
    return -1 if found is None else found


def _again(batch_id: int, faults: dict[str, str], status: int) -> Page:
    return _record_page(batch_id, faults, request.form.to_dict()), status


def _overtaken(batch_id: int, words: str) -> Page:
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
    faults = {"weights": words} | clashes(batch, weighed_entries(request.form))
    return _record_page(batch_id, faults, still_typed(request.form, batch)), 409
