"""Import and export formulas: the files, what taking one would do, taking it, and taking it back."""

import base64
import binascii
from collections.abc import Mapping
from dataclasses import replace

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answer

from app.store.errors import Conflict, NotFound
from app.web import context
from app.web.handover import batch_section
from app.work.clock import today
from app.work.csv_text import Unreadable
from app.work.handover.coming_in import preview_file, take_file, take_kept
from app.work.handover.everything import everything_out
from app.work.handover.going_out import formulas_out
from app.work.handover.kept_sheets import read_kept
from app.work.handover.records import NOT_CARRIED
from app.work.handover.tables import DESCRIBED, FORMATS, WRITERS, is_hand_over
from app.work.handover.undoing import list_imports, undo_import

__all__ = ["batch_section", "blueprint"]

blueprint = Blueprint("handover", __name__)
Page = Answer | str | tuple[str, int]
TYPES = {
    "json": "application/json",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}


@blueprint.get("/formulas/file")
def index() -> Page:
    """Offer the files to take away, the form to bring one in, and the imports that can be taken back."""
    return _page(200)


def _page(status: int, **more: object) -> tuple[str, int]:
    with context.store().reading() as session:
        imports = list_imports(session)
    given: dict[str, object] = {"faults": (), "refused": "", "preview": None, "data": "", "file_name": "", **more}
    described = {"formats": FORMATS, "tables": DESCRIBED, "not_carried": NOT_CARRIED}
    return render_template("handover/index.html", imports=imports, **described, **given), status


@blueprint.get("/formulas/file/formulas.<kind>")
def export(kind: str) -> Response:
    """Return every formula, or those that are named, as a file."""
    if kind not in WRITERS:
        raise NotFound("There is no such kind of file.")
    ids = [int(one) for one in request.args.getlist("formula") if one.isdecimal() and len(one) < 10]
    with context.store().reading() as session:
        content = WRITERS[kind](formulas_out(session, ids))
    answer = Response(content, content_type=TYPES[kind])
    answer.headers["Content-Disposition"] = f'attachment; filename="formulas-{today().isoformat()}.{kind}"'
    return answer


@blueprint.get("/formulas/file/everything.zip")
def everything() -> Response:
    """Return everything of the workshop as documented tables in one archive."""
    with context.store().reading() as session:
        content = everything_out(session)
    answer = Response(content, content_type="application/zip")
    answer.headers["Content-Disposition"] = f'attachment; filename="everything-{today().isoformat()}.zip"'
    return answer


@blueprint.post("/formulas/file")
def show() -> Page:
    """Read a file and say what taking it would do, before anything is written."""
    sent = request.files.get("file")
    data, name = (sent.read(), sent.filename or "") if sent else (b"", "")
    if data.strip() and not is_hand_over(data):
        return _kept(data, name, {})
    try:
        with context.store().reading() as session:
            found = preview_file(session, data)
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, file_name=name)
    return _page(200, preview=found, data=base64.b64encode(data).decode("ascii"), file_name=name)


def _kept(data: bytes, name: str, answers: Mapping[str, str], status: int = 200) -> Page:
    """Show what the sheets of a spreadsheet were read as, with what is asked."""
    try:
        found = read_kept(data, answers, file_name=name)
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, file_name=name)
    coded = base64.b64encode(data).decode("ascii")
    return render_template("handover/kept.html", found=found, data=coded, file_name=name), status


def _sent_again() -> bytes:
    """Return the file that a page carried along."""
    try:
        return base64.b64decode(request.form.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        return b""


@blueprint.post("/formulas/file/kept")
def take_sheets() -> Page:
    """Take the sheets that were chosen, with the answers given; or read them again with the answers."""
    name, data = request.form.get("file_name", ""), _sent_again()
    answers = {key.removeprefix("answer "): text for key, text in request.form.items() if key.startswith("answer ")}
    if request.form.get("again"):
        return _kept(data, name, answers)
    chosen = set(request.form.getlist("take"))
    try:
        found = [one for one in read_kept(data, answers, file_name=name) if one.sheet in chosen]
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, file_name=name)
    if not found:
        flash("Nothing was taken: no sheet was chosen.")
        return redirect(url_for("handover.index"), 303)
    named = [replace(one, name=request.form.get(f"name {one.sheet}", "").strip()[:200] or one.name) for one in found]
    who = request.form.get("who", "")
    context.remember_person(who)
    taken = take_kept(context.store(), named, who=who, file_name=name, key=request.form.get("key", ""))
    flash(f"Added {', '.join(one.name for one in named)}. What was left open is marked on the page of each formula.")
    with context.store().reading() as session:
        came = next((formulas for row, formulas in list_imports(session) if row.id == taken), [])
    return redirect(f"/formulas/{came[0].id}" if len(came) == 1 else "/formulas", 303)


@blueprint.post("/formulas/file/take")
def take() -> Page:
    """Take the file that was shown."""
    name, key, data = request.form.get("file_name", ""), request.form.get("key", ""), _sent_again()
    who = request.form.get("who", "")
    context.remember_person(who)
    try:
        over = request.form.get("replace") == "yes"
        take_file(
            context.store(),
            data,
            replace_drafts=over,
            with_versions=request.form.get("versions") == "yes",
            with_records=request.form.get("records") == "yes",
            who=who,
            file_name=name,
            key=key,
        )
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, file_name=name)
    flash("The file is imported. The whole import can be undone below.")
    return redirect(url_for("handover.index"), 303)


@blueprint.post("/formulas/file/<int:import_id>/undo")
def undo(import_id: int) -> Page:
    """Undo an import as a whole, or say what stands on it."""
    try:
        undo_import(context.store(), import_id)
    except Conflict as refused:
        return _page(409, refused=str(refused))
    flash("The import is undone: nothing that came with it is left.")
    return redirect(url_for("handover.index"), 303)
