"""The bench page of a batch: bring a real beaker to its pH, one step at a time."""

from collections.abc import Callable

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.session_plot import session_plot
from app.science.errors import Invalid
from app.store.errors import Conflict
from app.web import context
from app.web.ph.area import blueprint
from app.web.row_number import number
from app.work.form import Faults
from app.work.ph.droppers import DropsForm, weigh_drops
from app.work.ph.entries import (
    AdditionForm,
    LastEntryForm,
    PhReadingForm,
    SessionRef,
    add_addition,
    add_reading,
    take_back_last,
)
from app.work.ph.formula_update import update_formula
from app.work.ph.sessions import SessionForm, end_session, look_at_session, start_session
from app.work.ph.solutions import put_counter_solution_on_shelf

Page = str | Response | tuple[str, int]


@blueprint.get("/batches/<int:batch_id>/ph")
def bench(batch_id: int) -> Page:
    """Show the pH session of a batch, or the form that starts one."""
    return _page(batch_id)


def _page(batch_id: int, faults: dict[str, str] | None = None, again: str = "", stale: str = "") -> str:
    page = look_at_session(context.store(), batch_id)
    plots = {state.record.id: session_plot(state) for state in (page.running, *page.ended) if state}
    typed = request.form.to_dict() if request.method == "POST" else {}
    return render_template(
        "ph/bench.html", page=page, faults=faults or {}, plots=plots, typed=typed, again=again, stale=stale
    )


def _done(batch_id: int, act: Callable[[], object], form: str, words: str = "") -> Page:
    """Do an action and go back to the page; what is wrong comes back beside what was typed."""
    context.remember_person(request.form.get("who", ""))
    try:
        act()
    except Faults as error:
        return _page(batch_id, {fault.field: fault.message for fault in error.faults}, form), 422
    except Invalid as error:
        return _page(batch_id, {error.field or form: error.message}, form), 422
    except Conflict as error:
        return _page(batch_id, {}, form, str(error)), 409
    if words:
        flash(words)
    return redirect(url_for("ph.bench", batch_id=batch_id), 303)


def _at(batch_id: int, session_id: int) -> SessionRef:
    """Return which state of a session the form was drawn from."""
    version = number(request.form.get("row_version", ""))
    return SessionRef(batch_id, session_id, -1 if version is None else version, request.form.get("key", ""))


@blueprint.post("/batches/<int:batch_id>/ph/start")
def start(batch_id: int) -> Page:
    """Start a session."""
    typed, key = SessionForm.sent(request.form), request.form.get("key", "")
    return _done(batch_id, lambda: start_session(context.store(), batch_id, typed, key=key), "start")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/addition")
def addition(batch_id: int, session_id: int) -> Page:
    """Record an addition."""
    at, typed = _at(batch_id, session_id), AdditionForm.sent(request.form)
    form = "more" if request.form.get("more") == "yes" else "addition"
    return _done(batch_id, lambda: add_addition(context.store(), at, typed), form)


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/reading")
def reading(batch_id: int, session_id: int) -> Page:
    """Record a reading."""
    at, typed = _at(batch_id, session_id), PhReadingForm.sent(request.form)
    return _done(batch_id, lambda: add_reading(context.store(), at, typed), "reading")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/take-back")
def take_back(batch_id: int, session_id: int) -> Page:
    """Take the last entry back."""
    at, typed = _at(batch_id, session_id), LastEntryForm.sent(request.form)
    words = "The last entry is corrected."
    return _done(batch_id, lambda: take_back_last(context.store(), at, typed), "take-back", words)


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/end")
def end(batch_id: int, session_id: int) -> Page:
    """End the session."""
    at, who = _at(batch_id, session_id), request.form.get("who", "")

    def act() -> None:
        end_session(context.store(), batch_id, session_id, at.row_version, who=who, key=at.key)

    return _done(batch_id, act, "end", "The pH session has ended; it is in the batch record.")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/update-formula")
def update(batch_id: int, session_id: int) -> Page:
    """Write what the batch really holds of the acid or base into its formula."""
    at, who = _at(batch_id, session_id), request.form.get("who", "")

    def act() -> None:
        update_formula(context.store(), batch_id, session_id, who=who, key=at.key)

    return _done(batch_id, act, "update-formula", "The formula is updated and saved as a version.")


@blueprint.post("/batches/<int:batch_id>/ph/drops")
def drops(batch_id: int) -> Page:
    """Weigh the drops of a dropper."""
    form, typed = request.form, DropsForm.sent(request.form)

    def act() -> None:
        weigh_drops(context.store(), number(form.get("material_id", "")) or 0, typed, key=form.get("key", ""))

    return _done(batch_id, act, "drops", "The dropper is weighed.")


@blueprint.post("/batches/<int:batch_id>/ph/counter-solution")
def counter_solution(batch_id: int) -> Page:
    """Put the usual solution for the correction on the shelf."""
    inci = request.form.get("inci", "")
    if inci not in {"Citric Acid", "Sodium Hydroxide"}:
        return _page(
            batch_id, {"counter-solution": "Choose one of the solutions that are offered."}, "counter-solution"
        ), 422
    act = lambda: put_counter_solution_on_shelf(context.store(), inci, request.form.get("key", ""))  # noqa: E731
    return _done(batch_id, act, "counter-solution", f"{inci}, 10 % solution, is on the shelf.")
