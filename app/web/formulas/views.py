"""The list of formulas and the formula page."""

from typing import Any

from flask import flash, jsonify, redirect, render_template, request, url_for

from app.science.errors import Invalid
from app.web import context
from app.web.formulas import pasting, versions
from app.web.formulas.actions import act, own_words
from app.web.formulas.area import Page, blueprint
from app.web.formulas.forms import posted
from app.web.formulas.page import conflict_between, full_page, look, parts
from app.work.formulas.deeds import DraftConflict, bring_back, create, retire
from app.work.formulas.listing import list_formulas
from app.work.formulas.reading import FieldFault
from app.work.formulas.suggesting import suggest
from app.work.typed import Faults

__all__ = ["blueprint", "pasting", "versions"]


@blueprint.get("")
def index() -> Page:
    """List formulas."""
    words, order, retired = (request.args.get(name, "") for name in ("q", "order", "retired"))
    rows = list_formulas(context.store(), words, order, retired=bool(retired))
    return render_template("formulas/index.html", rows=rows, words=words, order=order, retired=bool(retired))


@blueprint.get("/new")
def new() -> Page:
    """Show the form that starts a formula."""
    return render_template("formulas/new.html", typed={}, faults={})


@blueprint.post("")
def start() -> Page:
    """Start a formula and open it."""
    typed = {name: request.form.get(name, "") for name in ("name", "code", "key")}
    try:
        formula_id = create(context.store(), typed["name"], code=typed["code"], key=typed["key"])
    except Faults as error:
        faults = {fault.field: fault.message for fault in error.faults}
        return render_template("formulas/new.html", typed=typed, faults=faults), 422
    return redirect(url_for("formulas.show", formula_id=formula_id), 303)


@blueprint.get("/suggest")
def suggestions() -> Page:
    """Give the materials that a typed name may mean."""
    found = suggest(context.store(), request.args.get("q", ""))
    return jsonify([{"value": s.value, "name": s.name, "inci": s.inci, "on_shelf": s.on_shelf} for s in found])


@blueprint.get("/<int:formula_id>")
def show(formula_id: int) -> Page:
    """Show the page of one formula."""
    return full_page(look(context.store(), formula_id))


@blueprint.post("/<int:formula_id>")
def save(formula_id: int) -> Page:
    """Save what is typed, do what else was asked, and show what follows; an open page gets only what changed."""
    form = posted(request.form)
    live = request.headers.get("X-Live") == "1"
    if form.faults:
        return _refused(formula_id, form.draft, form.faults, live=live)
    try:
        done = act(context.store(), formula_id, form, request.form)
    except DraftConflict as error:
        return _too_late(formula_id, form, error, live=live)
    except Invalid as error:
        return _refused(formula_id, form.draft, (FieldFault(error.field, error.message),), live=live)
    if not live:
        return redirect(url_for("formulas.show", formula_id=formula_id, _anchor=done.focus or None), 303)
    answer = parts(look(context.store(), formula_id), with_lines=done.redraw)
    return jsonify({**answer, "focus": done.focus, "said": done.said})


def _refused(formula_id: int, draft: Any, faults: tuple[FieldFault, ...], *, live: bool) -> Page:
    sheet = look(context.store(), formula_id, draft)
    if live:
        answer = parts(sheet, with_lines=False, faults=faults)
        return jsonify({**answer, "unsaved": faults[0].message}), 422
    return full_page(sheet, faults=faults), 422


def _too_late(formula_id: int, form: Any, error: DraftConflict, *, live: bool) -> Page:
    mine = own_words(context.store(), form)
    conflict = conflict_between(form.base, error.theirs.draft, mine)
    if live:
        words = render_template("formulas/_conflict.html", conflict=conflict, there=error.theirs)
        return jsonify({"conflict": words}), 409
    return full_page(look(context.store(), formula_id, form.draft), conflict=conflict, kept_base=form.base), 409


@blueprint.post("/<int:formula_id>/retire")
def take_out(formula_id: int) -> Page:
    """Take a formula out of the list, or put it back."""
    if request.form.get("back"):
        bring_back(context.store(), formula_id)
        return redirect(url_for("formulas.show", formula_id=formula_id), 303)
    retire(context.store(), formula_id)
    flash("The formula is retired. Its versions and batches stay; it can be brought back.")
    return redirect(url_for("formulas.index"), 303)
