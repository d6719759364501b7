"""Cases: the list, a new one, one with what is done about it, and complaints by units sold."""

from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for

from app.store.errors import Conflict
from app.web import context
from app.web.paging import page_after_skipped
from app.web.row_number import number
from app.web.tracing.area import Page, blueprint
from app.work.clock import today
from app.work.form import Faults, Form
from app.work.tracing import cases as work
from app.work.tracing.duties import ASK, DOCTOR, SERIOUS, is_overdue


@blueprint.get("/cases")
def case_list() -> Page:
    """List the cases, those still open first, with complaints by units sold."""
    most = work.PAGE
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: work.list_cases(session, skip=skip, most=most + 1), most)
        rates = work.complaints_by_units_sold(session)
    overdue = {one.id for one in page.rows if one.closed_at is None and is_overdue(one, today())}
    return render_template("tracing/cases.html", page=page, overdue=overdue, rates=rates)


@blueprint.get("/cases/new")
def new_case() -> Page:
    """Show the form of a case."""
    code = request.args.get("code", "")[:80]
    return _new_page(work.CaseForm(code=code, known_on=today().isoformat(), by=context.person()), {})


def _new_page(form: Form, faults: Mapping[str, str]) -> str:
    return render_template("tracing/new_case.html", form=form, faults=faults, serious=SERIOUS, doctor=DOCTOR, ask=ASK)


@blueprint.post("/cases/new")
def open_case() -> Page:
    """Write a case."""
    form = work.CaseForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        case_id = work.open_case(context.store(), form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _new_page(form, wrong.by_field), 422
    return redirect(url_for("tracing.case", case_id=case_id), 303)


@blueprint.get("/cases/<int:case_id>")
def case(case_id: int) -> Page:
    """Show a case with what is done about it and what else is of its lots."""
    return _page(case_id)


def _page(case_id: int, refused: str = "", faults: Mapping[str, str] | None = None, **typed: Form) -> str:
    with context.store().reading() as session:
        sheet = work.case_sheet(session, case_id)
        history = list(sheet.case.history)
        stored = work.FollowedForm(**work.FollowForm.of(sheet.case).text, by=context.person())
    forms: dict[str, Form] = {"follow": stored, "end": work.EndForm(by=context.person()), **typed}
    return render_template(
        "tracing/case.html",
        sheet=sheet,
        history=history,
        forms=forms,
        refused=refused,
        faults=faults or {},
        doctor=DOCTOR,
        ask=ASK,
        serious=SERIOUS[sheet.case.market],
    )


@blueprint.post("/cases/<int:case_id>")
def follow(case_id: int) -> Page:
    """Write what was done about a case."""
    form = work.FollowedForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        work.follow_case(context.store(), case_id, form, number(request.form.get("row_version", "")) or 0)
    except Faults as wrong:
        return _page(case_id, "follow", wrong.by_field, follow=form), 422
    except Conflict as wrong:
        said = {"by": f"{wrong} Look at what is there now and save again; nothing you typed is lost."}
        return _page(case_id, "follow", said, follow=form), 409
    flash("Saved.")
    return redirect(url_for("tracing.case", case_id=case_id), 303)


@blueprint.post("/cases/<int:case_id>/close")
def close_case(case_id: int) -> Page:
    """Close a case."""
    form = work.EndForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        work.close_case(context.store(), case_id, form)
    except Faults as wrong:
        return _page(case_id, "end", wrong.by_field, end=form), 422
    except Conflict as wrong:
        return _page(case_id, "end", {"by": str(wrong)}, end=form), 409
    flash("The case is closed; it can no longer be changed.")
    return redirect(url_for("tracing.case", case_id=case_id), 303)
