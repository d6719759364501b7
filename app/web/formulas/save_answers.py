"""What a save answers when it was not taken: faults at their fields, or what another page saved before."""

from flask import jsonify, render_template

from app.web import context
from app.web.formulas.actions import own_words
from app.web.formulas.area import Page
from app.web.formulas.forms import PostedFormula
from app.web.formulas.page import conflict_between, load_page, parts, unsaved_page
from app.work.formulas.editing import DraftConflict
from app.work.formulas.faults import FieldFault


def refused(formula_id: int, form: PostedFormula, faults: tuple[FieldFault, ...], *, live: bool = False) -> Page:
    """Answer a form that was not saved: the page as typed, with the faults at their fields."""
    sheet = load_page(context.store(), formula_id, form.draft)
    if live:
        answer = parts(sheet, with_lines=False, faults=faults)
        return jsonify({**answer, "unsaved": faults[0].message}), 422
    return unsaved_page(sheet, form, faults=faults, loud=True), 422


def too_late(formula_id: int, form: PostedFormula, error: DraftConflict, *, live: bool = False) -> Page:
    """Answer a save that came too late: what was changed there, where both changed the same, and the ways on."""
    mine = own_words(context.store(), form)
    conflict = conflict_between(form.base, error.theirs.draft, mine)
    if live:
        words = render_template("formulas/_conflict.html", conflict=conflict, theirs=error.theirs)
        return jsonify({"conflict": words}), 409
    sheet = load_page(context.store(), formula_id, form.draft)
    return unsaved_page(sheet, form, conflict=conflict, theirs=error.theirs), 409
