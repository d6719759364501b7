"""Versions of a formula: kept, looked at, compared, branched, made the draft again."""

from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.science.formula import Formula
from app.store.errors import NotFound
from app.web import context
from app.web.formulas.area import Page, blueprint
from app.web.formulas.forms import posted
from app.web.formulas.page import full_page, load_page
from app.web.formulas.save_answers import refused, too_late
from app.work.formulas.compare import compare
from app.work.formulas.editing import DraftConflict, open_draft, save_draft
from app.work.formulas.faults import FieldFault, IncompleteFormula
from app.work.formulas.outcome import outcome, side_by_side
from app.work.formulas.results import read_complete
from app.work.formulas.versions import (
    branch,
    ingredient_list,
    keep_version,
    list_versions,
    read_version,
    use_version,
    version_draft,
    version_numbered,
)
from app.work.rules.formula_checks import read_given_answers
from app.work.rules.sheet import checks_sheet

DRAFT = "draft"


@blueprint.post("/<int:formula_id>/versions")
def keep(formula_id: int) -> Page:
    """Keep the draft as a version."""
    note, who, key = (request.form.get(name, "") for name in ("version_note", "who", "key"))
    context.remember_person(who)
    form = posted(request.form)
    try:
        if form.faults:
            return refused(formula_id, form, form.faults)
        if "line" in request.form:
            save_draft(context.store(), formula_id, form.draft, form.origin)
        keep_version(context.store(), formula_id, note, who, key=key)
    except DraftConflict as error:
        return too_late(formula_id, form, error)
    except IncompleteFormula as error:
        return _not_kept(formula_id, error.faults, note)
    except Invalid as error:
        return _not_kept(formula_id, (FieldFault(error.field, error.message),), note)
    flash("Saved as a version.")
    return redirect(url_for("formulas.show", formula_id=formula_id, _anchor="versions"), 303)


def _not_kept(formula_id: int, faults: tuple[FieldFault, ...], note: str) -> Page:
    return full_page(load_page(context.store(), formula_id), faults=faults, version_note=note, loud=True), 422


@blueprint.get("/<int:formula_id>/versions/<int:number>")
def show_version(formula_id: int, number: int) -> Page:
    """Show a version as it was kept."""
    return _version_page(formula_id, number)


def _version_page(
    formula_id: int, number: int, branch_name: str | None = None, faults: Mapping[str, str] | None = None
) -> str:
    with context.store().reading() as session:
        version_id = version_numbered(session, formula_id, number)
        version = version_draft(session, version_id)[0]
        formula = read_version(session, version_id)
        rows = list_versions(session, formula_id)
        checks = checks_sheet(session, formula_id, version_id)
    return render_template(
        "formulas/version.html",
        version=version,
        formula=formula,
        versions=rows,
        checks=checks,
        branch_name=f"{version.name}, branch" if branch_name is None else branch_name,
        faults=faults or {},
    )


@blueprint.get("/<int:formula_id>/compare")
def comparison(formula_id: int) -> Page:
    """Compare two versions, or a version with the draft, line by line."""
    left, right = (request.args.get(side, "") for side in ("left", "right"))
    with context.store().reading() as session:
        current = open_draft(session, formula_id)
        versions = list_versions(session, formula_id)
    left = left or (str(versions[0].number) if versions else DRAFT)
    try:
        sides = _side(formula_id, left), _side(formula_id, right or DRAFT)
    except IncompleteFormula as error:
        return render_template("papers/not_yet.html", faults=error.faults, formula_id=formula_id), 422
    with context.store().reading() as session:
        given = read_given_answers(session, formula_id)
        pair = side_by_side(*(outcome(side, given, ingredient_list(session, side)) for side in sides))
    return render_template(
        "formulas/compare.html",
        current=current,
        versions=versions,
        found=compare(*sides),
        pair=pair,
        left=left,
        right=right or DRAFT,
        every=bool(request.args.get("every")),
    )


def _side(formula_id: int, word: str) -> Formula:
    with context.store().reading() as session:
        if word == DRAFT:
            return read_complete(session, open_draft(session, formula_id))
        if not word.isdecimal() or len(word) > 9:
            raise NotFound(f"There is no version {word[:20]} of this formula.")
        return read_version(session, version_numbered(session, formula_id, int(word)))


@blueprint.post("/<int:formula_id>/versions/<int:number>/branch")
def branch_off(formula_id: int, number: int) -> Page:
    """Start a new formula from a version."""
    name, key = request.form.get("name", ""), request.form.get("key", "")
    try:
        branched = branch(context.store(), _id_of(formula_id, number), name, key=key)
    except Invalid as error:
        return _version_page(formula_id, number, name, {error.field: error.message}), 422
    flash("A new formula was started from this version.")
    return redirect(url_for("formulas.show", formula_id=branched), 303)


@blueprint.post("/<int:formula_id>/versions/<int:number>/use")
def use(formula_id: int, number: int) -> Response:
    """Make a version the draft again."""
    use_version(context.store(), formula_id, _id_of(formula_id, number), "versions")
    flash(f"Version {number} is the draft again. Undo takes it back.")
    return redirect(url_for("formulas.show", formula_id=formula_id), 303)


def _id_of(formula_id: int, number: int) -> int:
    with context.store().reading() as session:
        return version_numbered(session, formula_id, number)
