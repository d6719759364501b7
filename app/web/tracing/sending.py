"""What was sent out: the list, one more, a file of many, cancelling; and receivers."""

import base64
import binascii
from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.distribution import get_dispatch, get_receiver
from app.store.errors import Conflict
from app.web import context
from app.web.paging import page_after_skipped
from app.web.row_number import number
from app.web.tracing.area import Page, as_csv, blueprint
from app.work.clock import today
from app.work.csv_text import Unreadable
from app.work.form import Faults, Form
from app.work.form_fields import read_day
from app.work.tracing import receivers as people
from app.work.tracing import sending, sent_file


def _search() -> sending.SentSearch:
    """Read from the address which dispatches are wanted; a day that cannot be read asks for nothing."""
    days = {}
    for name in ("since", "until"):
        try:
            days[name] = read_day(request.args.get(name, ""), name)
        except Invalid:
            continue
    return sending.SentSearch(request.args.get("code", "")[:200], request.args.get("kind", ""), **days)


@blueprint.get("/sent")
def sent() -> Page:
    """List what was sent out, with the form of one more."""
    form = sending.DispatchForm(
        code=request.args.get("batch", "")[:80], sent_on=today().isoformat(), by=context.person()
    )
    return _sent_page(form, {})


def _sent_page(form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        most = sending.PAGE
        page = page_after_skipped(lambda skip: sending.sent_rows(session, _search(), skip=skip, most=most + 1), most)
    return render_template(
        "tracing/sent.html",
        page=page,
        asked=request.args,
        form=form,
        faults=faults,
    )


@blueprint.post("/sent")
def send_out() -> Page:
    """Write units that went out or came back."""
    form = sending.DispatchForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        sending.send_out(context.store(), form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _sent_page(form, wrong.by_field), 422
    units = form.text["units"].strip()
    flash(f"{units} {'unit' if units == '1' else 'units'} of {form.text['code'].strip()} written.")
    with context.store().reading() as session:
        same = len(people.receivers_named(session, form.text["receiver"]))
    if same > 1:
        flash(f"There are {same} receivers named {form.text['receiver'].strip()}, told apart by how to reach them.")
    return redirect(url_for("tracing.sent"), 303)


@blueprint.get("/sent/dispatches.csv")
def sent_table() -> Page:
    """Return what was sent out as a file."""
    with context.store().reading() as session:
        rows = sending.sent_rows(session, _search())
        return as_csv(sent_file.sent_csv(rows), "sent-out")


@blueprint.get("/sent/<int:dispatch_id>/cancel")
def dispatch(dispatch_id: int) -> Page:
    """Show the form that cancels a wrong line."""
    return _cancel_page(dispatch_id, sending.CancelForm(by=context.person()), {})


def _cancel_page(dispatch_id: int, form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = get_dispatch(session, dispatch_id)
    return render_template("tracing/cancel.html", dispatch=found, form=form, faults=faults)


@blueprint.post("/sent/<int:dispatch_id>/cancel")
def cancel(dispatch_id: int) -> Page:
    """Cancel a wrong line."""
    form = sending.CancelForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        sending.cancel_dispatch(context.store(), dispatch_id, form)
    except Faults as wrong:
        return _cancel_page(dispatch_id, form, wrong.by_field), 422
    except Conflict as wrong:
        return _cancel_page(dispatch_id, form, {"why": str(wrong)}), 409
    flash("The line is cancelled. It stays readable and counts no more.")
    return redirect(url_for("tracing.sent"), 303)


@blueprint.get("/sent/file")
def sent_file_page() -> Page:
    """Offer to take a file of dispatches, and those that can be taken back."""
    return _file_page(200)


def _file_page(status: int, **more: object) -> tuple[str, int]:
    with context.store().reading() as session:
        imports = sent_file.list_sent_files(session)
    given: dict[str, object] = {"faults": (), "preview": None, "data": "", "file_name": "", **more}
    columns = sent_file.COLUMNS
    return render_template("tracing/sent_file.html", imports=imports, columns=columns, **given), status


@blueprint.get("/sent/file/example.csv")
def sent_example() -> Page:
    """Return a file to be filled in."""
    return as_csv(sent_file.example_csv(), "sent-out-example")


@blueprint.post("/sent/file")
def show_sent_file() -> Page:
    """Read a file and say what taking it would do, before anything is written."""
    file = request.files.get("file")
    data, name = (file.read(), file.filename or "") if file else (b"", "")
    try:
        with context.store().reading() as session:
            found = sent_file.preview_sent(session, data, context.person() or "–")
    except Unreadable as wrong:
        return _file_page(422, faults=wrong.faults, file_name=name)
    return _file_page(200, preview=found, data=base64.b64encode(data).decode("ascii"), file_name=name)


@blueprint.post("/sent/file/take")
def take_sent_file() -> Page:
    """Take the file that was shown."""
    name, by = request.form.get("file_name", ""), request.form.get("by", "")
    context.remember_person(by)
    try:
        data = base64.b64decode(request.form.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        data = b""
    try:
        sent_file.take_sent(context.store(), data, by=by or "–", file_name=name, key=request.form.get("key", ""))
    except Unreadable as wrong:
        return _file_page(422, faults=wrong.faults, file_name=name)
    flash("The file is imported. The whole import can be undone below.")
    return redirect(url_for("tracing.sent_file_page"), 303)


@blueprint.post("/sent/file/<int:import_id>/undo")
def undo_sent_file(import_id: int) -> Response:
    """Take a file back as a whole."""
    try:
        flash(f"Taken back: {sent_file.undo_sent(context.store(), import_id, by=context.person())}.")
    except Invalid as fault:
        flash(f"Not taken back. {fault.message}")
    return redirect(url_for("tracing.sent_file_page"), 303)


@blueprint.get("/receivers")
def receivers() -> Page:
    """List receivers."""
    words, most = request.args.get("q", "")[:200], people.PAGE
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: people.list_receivers(session, words, skip=skip, most=most + 1), most)
    return render_template("tracing/receivers.html", page=page, words=words)


@blueprint.get("/receivers/<int:receiver_id>")
def receiver(receiver_id: int) -> Page:
    """Show what is kept of a receiver, to be corrected or forgotten."""
    with context.store().reading() as session:
        found = get_receiver(session, receiver_id)
        return _receiver_page(receiver_id, people.ReceiverForm.of(found), found.row_version, {})


def _receiver_page(receiver_id: int, form: Form, row_version: int, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        return render_template(
            "tracing/receiver.html",
            receiver=get_receiver(session, receiver_id),
            cases=people.cases_with(session, receiver_id),
            form=form,
            row_version=row_version,
            faults=faults,
        )


@blueprint.post("/receivers/<int:receiver_id>")
def save_receiver(receiver_id: int) -> Page:
    """Correct what is kept of a receiver."""
    form, row_version = people.ReceiverForm.sent(request.form), number(request.form.get("row_version", "")) or 0
    try:
        people.revise_receiver(context.store(), receiver_id, form, row_version)
    except Faults as wrong:
        return _receiver_page(receiver_id, form, row_version, wrong.by_field), 422
    except Conflict as wrong:
        with context.store().reading() as session:
            newest = get_receiver(session, receiver_id).row_version
        said = {"name": f"{wrong} Look at it and save again."}
        return _receiver_page(receiver_id, form, newest, said), 409
    flash("Saved.")
    return redirect(url_for("tracing.receiver", receiver_id=receiver_id), 303)


@blueprint.post("/receivers/<int:receiver_id>/forget")
def forget(receiver_id: int) -> Page:
    """Forget a receiver for good, once that was ticked."""
    if request.form.get("sure") != "yes":
        with context.store().reading() as session:
            found = get_receiver(session, receiver_id)
            form, version = people.ReceiverForm.of(found), found.row_version
        return _receiver_page(receiver_id, form, version, {"sure": "Tick it: this cannot be undone."}), 422
    people.forget_receiver(context.store(), receiver_id)
    flash("Forgotten. The units still count; copies in older backups are yours to delete.")
    return redirect(url_for("tracing.receiver", receiver_id=receiver_id), 303)
