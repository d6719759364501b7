"""Recalls: the list, opening one, its page, what happens in it, its notice and its list of receivers."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import flash, redirect, render_template, request, url_for

from app.documents.papers import pdf_named
from app.documents.render import PaperFault
from app.store.errors import Conflict
from app.web import context
from app.web.papers.views import setting
from app.web.tracing.area import Page, as_csv, as_pdf, blueprint
from app.work.clock import today
from app.work.form import Faults, Form
from app.work.tracing import recalls as work
from app.work.tracing.sending import DispatchForm

MOST_SHOWN = 200


@blueprint.get("/recalls")
def recalls() -> Page:
    """List the recalls."""
    with context.store().reading() as session:
        found = work.all_recalls(session)
    took = {one.id: work.words_of(one.listed_at - one.opened_at) if one.listed_at else "" for one in found}
    return render_template("tracing/recalls.html", recalls=found, took=took)


@blueprint.get("/recalls/new")
def new_recall() -> Page:
    """Show the form that opens a recall."""
    form = work.RecallForm(codes=request.args.get("codes", "")[:400], by=context.person())
    return render_template("tracing/new_recall.html", form=form, faults={})


@blueprint.post("/recalls/new")
def open_recall() -> Page:
    """Open a recall."""
    form = work.RecallForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        recall_id = work.open_recall(context.store(), form, key=request.form.get("key", ""))
    except Faults as wrong:
        return render_template("tracing/new_recall.html", form=form, faults=wrong.by_field), 422
    return redirect(url_for("tracing.recall", recall_id=recall_id), 303)


@blueprint.get("/recalls/<int:recall_id>")
def recall(recall_id: int) -> Page:
    """Show a recall."""
    return _page(recall_id)


def _page(recall_id: int, refused: str = "", faults: Mapping[str, str] | None = None, **typed: Form) -> str:
    by = context.person()
    forms: dict[str, Form] = {
        "widen": work.WidenForm(by=by),
        "sign": work.SignForm(by=by),
        "notice": work.NoticeForm(by=by),
        "back": DispatchForm(kind="returned", sent_on=today().isoformat(), by=by),
        "close": work.CloseForm(by=by),
        **typed,
    }
    with context.store().reading() as session:
        sheet = work.recall_sheet(session, recall_id)
    return render_template(
        "tracing/recall.html", sheet=sheet, most=MOST_SHOWN, forms=forms, refused=refused, faults=faults or {}
    )


def _done(recall_id: int, name: str, form: Form, act: Callable[[Any], object], words: str) -> Page:
    """Do something in a recall and go back to it; what is wrong comes back beside what was typed."""
    context.remember_person(form.text["by"])
    try:
        act(form)
    except Faults as wrong:
        return _page(recall_id, name, wrong.by_field, **{name: form}), 422
    except Conflict as wrong:
        return _page(recall_id, name, {"by": str(wrong)}, **{name: form}), 409
    flash(words)
    return redirect(url_for("tracing.recall", recall_id=recall_id, _anchor=name), 303)


def _key() -> str:
    return request.form.get("key", "")


@blueprint.post("/recalls/<int:recall_id>/widen")
def widen(recall_id: int) -> Page:
    """Add lots or batches, and what was made of them since."""
    form = work.WidenForm.sent(request.form)
    return _done(
        recall_id, "widen", form, lambda it: work.widen_recall(context.store(), recall_id, it), "Looked through again."
    )


@blueprint.post("/recalls/<int:recall_id>/listed")
def listed(recall_id: int) -> Page:
    """Note that the list of receivers is complete."""
    form = work.SignForm.sent(request.form)
    return _done(
        recall_id, "sign", form, lambda it: work.list_complete(context.store(), recall_id, it), "The list is complete."
    )


@blueprint.post("/recalls/<int:recall_id>/told/<int:receiver_id>")
def told(recall_id: int, receiver_id: int) -> Page:
    """Note that a receiver was told."""
    form = work.NoticeForm.sent(request.form)

    def act(it: work.NoticeForm) -> None:
        work.note_told(context.store(), recall_id, receiver_id, it, key=_key())

    return _done(recall_id, "notice", form, act, "Noted.")


@blueprint.post("/recalls/<int:recall_id>/back")
def came_back(recall_id: int) -> Page:
    """Write units that came back."""
    form = DispatchForm.sent(request.form)
    return _done(
        recall_id, "back", form, lambda it: work.take_back(context.store(), recall_id, it, key=_key()), "Written."
    )


@blueprint.post("/recalls/<int:recall_id>/close")
def close(recall_id: int) -> Page:
    """Close a recall."""
    form = work.CloseForm.sent(request.form)
    return _done(
        recall_id,
        "close",
        form,
        lambda it: work.close_recall(context.store(), recall_id, it),
        "The recall is closed; it can no longer be changed.",
    )


@blueprint.get("/recalls/<int:recall_id>/receivers.csv")
def recall_receivers(recall_id: int) -> Page:
    """Return the list of receivers as a file."""
    with context.store().reading() as session:
        sheet = work.recall_sheet(session, recall_id)
    return as_csv(work.recipients_csv(sheet), f"receivers-{sheet.recall.number}")


@blueprint.get("/recalls/<int:recall_id>/notice.pdf")
def notice(recall_id: int) -> Page:
    """Return the notice to receivers on paper."""
    with context.store().reading() as session:
        sheet = work.recall_sheet(session, recall_id)
        products = work.products_of_recall(session, recall_id)
    try:
        made = pdf_named("recall_notice", (sheet.recall.number,), setting(), sheet=sheet, products=products)
    except PaperFault as error:
        back = url_for("tracing.recall", recall_id=recall_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    return as_pdf(made.content, made.name)
