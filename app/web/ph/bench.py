"""The bench page of a batch: bring a real beaker to its pH, one step at a time."""

from collections.abc import Callable

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.session_plot import session_plot
from app.science.errors import Invalid
from app.store.errors import Conflict
from app.web import context
from app.web.ph.area import blueprint
from app.web.ph.forms import addition_of, at_of, reading_of, start_of
from app.web.row_number import number
from app.work.form import Faults
from app.work.ph.droppers import weigh_drops
from app.work.ph.entries import add_addition, add_reading, take_back_last
from app.work.ph.formula_update import update_formula
from app.work.ph.sessions import end_session, look_at_session, start_session
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


@blueprint.post("/batches/<int:batch_id>/ph/start")
def start(batch_id: int) -> Page:
    """Start a session."""
    return _done(batch_id, lambda: start_session(context.store(), batch_id, start_of(request.form)), "start")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/addition")
def addition(batch_id: int, session_id: int) -> Page:
    """Take an addition down."""
    at, typed = at_of(request.form, batch_id, session_id), addition_of(request.form)
    form = "more" if request.form.get("more") == "yes" else "addition"
    return _done(batch_id, lambda: add_addition(context.store(), at, typed), form)


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/reading")
def reading(batch_id: int, session_id: int) -> Page:
    """Take a reading down."""
    at, typed = at_of(request.form, batch_id, session_id), reading_of(request.form)
    return _done(batch_id, lambda: add_reading(context.store(), at, typed), "reading")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/take-back")
def take_back(batch_id: int, session_id: int) -> Page:
    """Take the last entry back."""
    at, why = at_of(request.form, batch_id, session_id), request.form.get("why", "")[:200]
    return _done(
        batch_id, lambda: take_back_last(context.store(), at, why), "take-back", "The last entry is corrected."
    )


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/end")
def end(batch_id: int, session_id: int) -> Page:
    """End the session."""
    at = at_of(request.form, batch_id, session_id)

    def act() -> None:
        end_session(context.store(), batch_id, session_id, at.row_version, who=at.who, key=at.key)

    return _done(batch_id, act, "end", "The pH session has ended; it is in the batch record.")


@blueprint.post("/batches/<int:batch_id>/ph/<int:session_id>/update-formula")
def update(batch_id: int, session_id: int) -> Page:
    """Write what the batch really holds of the acid or base into its formula."""
    at = at_of(request.form, batch_id, session_id)

    def act() -> None:
        update_formula(context.store(), batch_id, session_id, who=at.who, key=at.key)

    return _done(batch_id, act, "update-formula", "The formula is updated and saved as a version.")


@blueprint.post("/batches/<int:batch_id>/ph/drops")
def drops(batch_id: int) -> Page:
    """Weigh the drops of a dropper."""
    form = request.form

    def act() -> None:
        weigh_drops(
            context.store(),
            number(form.get("material_id", "")) or 0,
            dropper=form.get("dropper", ""),
            drops=form.get("drop_count", ""),
            grams=form.get("drop_grams", ""),
            key=form.get("key", ""),
        )

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
