"""Packing runs: begun, written, looked over, closed."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.packing_record import packing_pdf, record_values
from app.documents.papers import PageSetup
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.store.errors import Conflict, NotFound
from app.store.packing import get_run
from app.web import context
from app.web.packing import costs, finished
from app.web.packing.area import blueprint
from app.web.paging import page_after_skipped
from app.web.row_number import number
from app.web.template_tools import workshop
from app.work.clock import today
from app.work.deviations import DeviationForm
from app.work.form import Faults, Form
from app.work.packing import fills, packaging_lots, runs, samples
from app.work.packing.deviations import close_run, record_run_deviation
from app.work.packing.listing import MOST, latest_runs
from app.work.packing.record import packing_record

__all__ = ["blueprint", "costs", "finished"]
Page = str | Response | tuple[str, int]


@blueprint.get("/packing")
def index() -> str:
    """List packing runs, those that are open first."""
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: latest_runs(session, skip=skip), MOST)
    return render_template("packing/index.html", page=page)


@blueprint.get("/packing/new")
def new() -> Page:
    """Show the form that begins a run of a batch."""
    return _new_page(_asked("batch"), number(request.args.get("product", "")), None, {})


def _asked(name: str) -> int:
    found = number(request.args.get(name, ""))
    if found is None:
        raise NotFound("Start packing on the page of a batch.")
    return found


def _new_page(batch_id: int, product_id: int | None, form: Form | None, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = runs.packable(session, batch_id)
        product = next((one for one in found.products if one.id == product_id), None)
        product = product or next(iter(found.products), None)
        if form is None and product is not None:
            form = runs.start_form(session, found.batch, product, who=context.person())
    return render_template("packing/new.html", found=found, product=product, form=form, faults=faults)


@blueprint.post("/packing/new")
def start() -> Page:
    """Begin a run and go to its page."""
    form = runs.RunForm.sent(request.form)
    batch_id, product_id = _asked("batch"), _asked("product")
    context.remember_person(form.text["who"])
    try:
        run_id = runs.start_run(context.store(), batch_id, product_id, form, key=_typed("key"))
    except Faults as wrong:
        return _new_page(batch_id, product_id, form, wrong.by_field), 422
    return redirect(url_for("packing.show", run_id=run_id), 303)


@blueprint.get("/packing/<int:run_id>")
def show(run_id: int) -> Page:
    """Show a run."""
    return _run_page(run_id)


def _run_page(run_id: int, again: str = "", faults: Mapping[str, str] | None = None, **typed: Form) -> str:
    """Return the page of a run; the form that was refused, named by ``again``, is shown as it was typed."""
    with context.store().reading() as session:
        record = packing_record(session, run_id)
        forms: dict[str, Form] = {
            "figures": runs.figures_form(record.run, who=context.person()),
            "lots": packaging_lots.LotUseForm(who=context.person()),
            "weights": fills.FillForm(who=context.person()),
            "samples": samples.usual_sample(record.run, who=context.person()),
            **typed,
        }
        left = {one.id: samples.units_left(one) for one in record.run.samples}
    return render_template(
        "packing/run.html",
        forms=forms,
        again=again,
        faults=faults or {},
        typed=request.form,
        left=left,
        closed=not record.run.is_open,
        today=today(),
        **record_values(record),
    )


def _done(run_id: int, part: str, act: Callable[[], object], form: Form | None = None, words: str = "") -> Page:
    """Do an action and go back to its part of the page; what is wrong comes back beside what was typed."""
    context.remember_person(_typed("who"))
    typed = {part: form} if form is not None else {}
    try:
        act()
    except Faults as wrong:
        return _run_page(run_id, part, wrong.by_field, **typed), 422
    except Invalid as wrong:
        return _run_page(run_id, part, {wrong.field: wrong.message}, **typed), 422
    except Conflict as conflict:
        return _run_page(run_id, part, {part: f"{conflict} It is not saved; look it over."}, **typed), 409
    if words:
        flash(words)
    return redirect(url_for("packing.show", run_id=run_id, _anchor=part), 303)


def _typed(name: str) -> str:
    return request.form.get(name, "")


def _row_version() -> int:
    found = number(_typed("row_version"))
    return -1 if found is None else found


@blueprint.post("/packing/<int:run_id>/figures")
def figures(run_id: int) -> Page:
    """Write what came of a run."""
    form = runs.FiguresForm.sent(request.form)
    store, version = context.store(), _row_version()
    return _done(run_id, "figures", lambda: runs.record_figures(store, run_id, version, form), form, "Saved.")


@blueprint.post("/packing/<int:run_id>/ticks")
def ticks(run_id: int) -> Page:
    """Tick points of the line clearance."""
    ids = [found for text in request.form.getlist("tick") if (found := number(text)) is not None]
    store, part = context.store(), "before" if _typed("part") == "before" else "after"
    return _done(
        run_id, part, lambda: runs.tick_clearance(store, run_id, ids, who=_typed("who"), remark=_typed("remark"))
    )


@blueprint.post("/packing/<int:run_id>/lots")
def lots(run_id: int) -> Page:
    """Write what a run took of a lot of packaging."""
    form, store = packaging_lots.LotUseForm.sent(request.form), context.store()
    return _done(
        run_id, "lots", lambda: packaging_lots.record_lot_use(store, run_id, form, key=_typed("key")), form, "Saved."
    )


@blueprint.get("/packing/<int:run_id>/lots/<int:use_id>")
def lot_use(run_id: int, use_id: int) -> Page:
    """Show the form of one lot that a run took, to write what became of it."""
    with context.store().reading() as session:
        use = packaging_lots.use_of(get_run(session, run_id), use_id)
        form = packaging_lots.form_of(use, who=context.person())
    return _run_page(run_id, "lots", None, lots=form)


@blueprint.post("/packing/<int:run_id>/weights")
def weights(run_id: int) -> Page:
    """Add fill weights."""
    form, store = fills.FillForm.sent(request.form), context.store()
    return _done(run_id, "weights", lambda: fills.add_weights(store, run_id, form, key=_typed("key")), form)


@blueprint.get("/packing/<int:run_id>/weights/<int:weight_id>")
def one_weight(run_id: int, weight_id: int) -> Page:
    """Show the form that corrects a fill weight."""
    return _weight_page(run_id, weight_id, fills.CorrectFillForm(who=context.person()), {})


@blueprint.post("/packing/<int:run_id>/weights/<int:weight_id>")
def correct_weight(run_id: int, weight_id: int) -> Page:
    """Correct a fill weight by a row of its own."""
    form = fills.CorrectFillForm.sent(request.form)
    context.remember_person(form.text["who"])
    try:
        fills.correct_weight(context.store(), run_id, weight_id, form, key=_typed("key"))
    except Faults as wrong:
        return _weight_page(run_id, weight_id, form, wrong.by_field), 422
    flash("The correction is recorded.")
    return redirect(url_for("packing.show", run_id=run_id, _anchor="weights"), 303)


def _weight_page(run_id: int, weight_id: int, form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        record = packing_record(session, run_id)
    one = next((one for one in record.standing if one.id == weight_id), None)
    if one is None:
        raise NotFound("There is no such weight; it may have been corrected already.")
    return render_template("packing/weight.html", run=record.run, one=one, form=form, faults=faults)


@blueprint.post("/packing/<int:run_id>/samples")
def sample(run_id: int) -> Page:
    """Keep units of a run as a sample."""
    form, store = samples.SampleForm.sent(request.form), context.store()
    return _done(run_id, "samples", lambda: samples.keep_sample(store, run_id, form, key=_typed("key")), form)


@blueprint.post("/packing/<int:run_id>/deviation")
def deviation(run_id: int) -> Page:
    """Note a deviation of a run, or decide on one."""
    typed = DeviationForm.sent(request.form).but(decides="yes" if _typed("do") == "decide" else "")
    store = context.store()

    def act() -> None:
        try:
            record_run_deviation(store, run_id, typed, key=_typed("form_key"))
        except Faults as wrong:
            raise Faults([Invalid(f"deviation-{one.field}", one.message) for one in wrong.faults]) from wrong

    return _done(run_id, "deviation", act)


@blueprint.post("/packing/<int:run_id>/close")
def close(run_id: int) -> Page:
    """Close a run for good."""
    store, version = context.store(), _row_version()
    act = lambda: close_run(store, run_id, version, who=_typed("who"), key=_typed("key"))  # noqa: E731
    return _done(run_id, "close", act, words="The run is closed; its good units are on hand.")


@blueprint.post("/packing/<int:run_id>/cancel")
def cancel(run_id: int) -> Page:
    """Cancel a run of which nothing was packed."""
    store = context.store()
    act = lambda: runs.cancel_run(store, run_id, who=_typed("who"), why=_typed("why"))  # noqa: E731
    return _done(run_id, "cancel", act, words="The run is cancelled.")


@blueprint.get("/packing/<int:run_id>/record")
def record(run_id: int) -> Page:
    """Show the record of a run as it is printed."""
    with context.store().reading() as session:
        found = packing_record(session, run_id)
    return render_template("packing/record_page.html", on_page=True, **record_values(found))


@blueprint.get("/packing/<int:run_id>/record.pdf")
def record_as_pdf(run_id: int) -> Page:
    """Send the record of a run as a PDF."""
    asked = request.args.get("paper", "")
    with context.store().reading() as session:
        found = packing_record(session, run_id)
    try:
        paper = packing_pdf(found, PageSetup(workshop(), today(), asked if asked in {"A4", "Letter"} else None))
    except PaperFault as error:
        back = url_for("packing.record", run_id=run_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer: Any = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer  # type: ignore[no-any-return]
