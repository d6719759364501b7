"""The settings of the workshop and its backups."""

from decimal import Decimal
from pathlib import Path

from flask import Response as Answer
from flask import flash, jsonify, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response

from app.science.batch_number import example
from app.science.errors import Invalid
from app.web import context
from app.web.materials.forms import whole_number
from app.web.workshop import equipment, gear_checks, people
from app.web.workshop.area import blueprint
from app.work import backups as kept
from app.work import workshop as work
from app.work.clock import today
from app.work.form import Faults, Overtaken

__all__ = ["blueprint", "equipment", "gear_checks", "people"]


def _form(typed: work.SettingsForm, row_version: int, **more: object) -> str:
    given: dict[str, object] = {"faults": {}, "differences": ()}
    return render_template(
        "workshop/settings.html",
        **{**given, **more},
        form=typed,
        row_version=row_version,
        number_example=_example(typed.text["batch_number_pattern"]),
        sample=Decimal("1234.5"),
    )


def _example(pattern: str) -> str:
    """Return what the first batch would be called, or what keeps the pattern from being used."""
    try:
        return f"The first batch of a formula HC1 planned today would be {example(pattern, today())}."
    except Invalid as wrong:
        return wrong.message


@blueprint.get("/workshop")
def settings() -> str:
    """Show the settings."""
    shop = work.load_workshop(context.store())
    return _form(work.SettingsForm.of(shop), shop.row_version)


@blueprint.get("/workshop/number-example")
def number_example() -> Response:
    """Return what a pattern as typed would give."""
    return jsonify(words=_example(request.args.get("pattern", "")[:500]))


@blueprint.post("/workshop")
def save_settings() -> Response | tuple[str, int]:
    """Write the settings."""
    typed, row_version = work.SettingsForm.sent(request.form), whole_number(request.form.get("row_version", ""))
    try:
        work.change_settings(context.store(), typed, row_version)
    except Faults as wrong:
        return _form(typed, row_version, faults=wrong.by_field), 422
    except Overtaken as wrong:
        return _form(typed, int(wrong.mark), differences=wrong.differences), 409
    flash("Settings saved.")
    return redirect(url_for("workshop.settings"), 303)


@blueprint.get("/workshop/backups")
def backups() -> str:
    """List the backups, and say how one is made and put back."""
    store = context.store()
    return render_template("workshop/backups.html", backups=kept.list_backups(store), folder=kept.backup_folder(store))


@blueprint.post("/workshop/backups")
def make_backup() -> Response:
    """Make a backup now."""
    made = kept.make_backup(context.store())
    flash(f"Backed up to {made.path}")
    if made.removed:
        flash(f"To make room, the oldest were removed: {', '.join(path.name for path in made.removed)}")
    return redirect(url_for("workshop.backups"), 303)


@blueprint.get("/workshop/backups/<name>")
def download_backup(name: str) -> Answer:
    """Return one of the listed backups as a file."""
    found: Path = kept.find_backup(context.store(), name)
    return send_file(found, mimetype="application/octet-stream", as_attachment=True, download_name=found.name)
