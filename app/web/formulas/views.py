"""The list of formulas and the formula page."""

from flask import flash, jsonify, redirect, render_template, request, url_for

from app.science.errors import Invalid
from app.web import context
from app.web.formulas import columns, pasting, pictures, trying, versions
from app.web.formulas.actions import Done, act
from app.web.formulas.area import Page, blueprint
from app.web.formulas.follows import answer
from app.web.formulas.forms import posted
from app.web.formulas.page import full_page, load_page, parts
from app.web.formulas.save_answers import refused, too_late
from app.web.paging import page_after_skipped
from app.work.form import Faults
from app.work.formulas.editing import DraftConflict, bring_back, copy_formula, create, retire
from app.work.formulas.faults import FieldFault
from app.work.formulas.line_card import line_card
from app.work.formulas.listing import PAGE, ListedFormula, list_formulas
from app.work.formulas.suggesting import suggest

MORE_ROWS = 5
__all__ = ["blueprint", "pasting", "pictures", "trying", "versions"]


@blueprint.get("")
def index() -> Page:
    """List formulas."""
    words, order, retired = (request.args.get(name, "") for name in ("q", "order", "retired"))

    def load(skip: int) -> list[ListedFormula]:
        return list_formulas(context.store(), words, order, retired=bool(retired), skip=skip, most=PAGE + 1)

    page = page_after_skipped(load, PAGE)
    return render_template("formulas/index.html", page=page, words=words, order=order, retired=bool(retired))


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
    """Return the materials that a typed name may mean."""
    found = suggest(context.store(), request.args.get("q", ""))
    return jsonify(
        [
            {"value": s.value, "name": s.name, "inci": s.inci, "on_shelf": s.on_shelf, "begins": s.standing > 0}
            for s in found
        ]
    )


@blueprint.get("/<int:formula_id>")
def show(formula_id: int) -> Page:
    """Show the page of one formula; ``rows`` asks for more empty rows than one."""
    rows = MORE_ROWS if request.args.get("rows") else 1
    return full_page(load_page(context.store(), formula_id), empty_rows=rows)


@blueprint.post("/<int:formula_id>")
def save(formula_id: int) -> Page:
    """Save what is typed, do what else was asked, and show what follows; an open page gets only what changed."""
    form = posted(request.form)
    live = request.headers.get("X-Live") == "1"
    if form.faults:
        return refused(formula_id, form, form.faults, live=live)
    try:
        done = act(context.store(), formula_id, form, request.form)
    except DraftConflict as error:
        return too_late(formula_id, form, error, live=live)
    except Invalid as error:
        if error.field or not live:
            return refused(formula_id, form, (FieldFault(error.field, error.message),), live=live)
        done = Done(said=error.message)
    if not live:
        rows = "1" if done.then == "rows" else None
        there = url_for(
            "formulas.show", formula_id=formula_id, rows=rows, _anchor=(form.do != "columns" and done.focus) or None
        )
        away = redirect(url_for("formulas.paste", formula_id=formula_id) if done.then == "paste" else there, 303)
        if form.do == "columns":
            columns.keep(away, request, context.person(), request.form.getlist("column"))
        return away
    found = parts(load_page(context.store(), formula_id, whole=False), with_lines=done.redraw)
    return jsonify({**found, "focus": done.focus, "said": done.said, "named": done.named})


@blueprint.get("/<int:formula_id>/follows")
def what_follows(formula_id: int) -> Page:
    """Return the pH and the checks of the draft as it stands, with the notes that are open on the page."""
    return jsonify(answer(load_page(context.store(), formula_id), request.args.getlist("open")))


@blueprint.get("/<int:formula_id>/lines/<line_id>/card")
def card(formula_id: int, line_id: str) -> Page:
    """Show the material of a line in place."""
    with context.store().reading() as session:
        found = line_card(session, formula_id, line_id)
    return render_template("formulas/_card.html", card=found)


@blueprint.post("/<int:formula_id>/copy")
def copy(formula_id: int) -> Page:
    """Copy a formula in one step and open the copy."""
    copied = copy_formula(context.store(), formula_id, key=request.form.get("key", ""))
    flash("Copied. This is the new formula; the other stays as it is.")
    return redirect(url_for("formulas.show", formula_id=copied), 303)


@blueprint.post("/<int:formula_id>/retire")
def take_out(formula_id: int) -> Page:
    """Take a formula out of the list, or put it back."""
    if request.form.get("back"):
        bring_back(context.store(), formula_id)
        return redirect(url_for("formulas.show", formula_id=formula_id), 303)
    retire(context.store(), formula_id)
    flash("The formula is retired. Its versions and batches stay; it can be brought back.")
    return redirect(url_for("formulas.index"), 303)
