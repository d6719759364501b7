"""Rows pasted from a spreadsheet: shown first, used when asked."""

from collections.abc import Iterable
from dataclasses import replace
from functools import partial

from flask import redirect, render_template, request, url_for

from app.science.errors import Invalid
from app.web import context
from app.web.formulas.area import Page, blueprint
from app.web.formulas.forms import new_id, several_lines
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.formulas.paste import in_percent, preview, with_rows
from app.work.formulas.pinned_materials import match_materials, shelf_of
from app.work.formulas.resolve import MOST_LINES
from app.work.formulas.steps import OpenDraft
from app.work.formulas.suggesting import accept_suggestion, choices
from app.work.formulas.usual_phases import sort_into_phases

KEEP_AS_TYPED = "keep"
COLUMN_WORDS = {
    "phase": "phase",
    "name": "ingredient",
    "inci": "INCI name",
    "amount": "amount",
    "ignore": "leave out",
}


@blueprint.get("/<int:formula_id>/paste")
def paste(formula_id: int) -> Page:
    """Show the field that takes rows."""
    return render_template("formulas/paste.html", current=_open(formula_id), text="", fault="", shown=None)


@blueprint.post("/<int:formula_id>/paste")
def show_pasted(formula_id: int) -> Page:
    """Show what the pasted rows were taken for; nothing is written yet."""
    current, text = _open(formula_id), several_lines(request.form.get("rows", ""))
    try:
        chosen = request.form.getlist("column")
        shown = preview(text, len(current.draft.lines), partial(choices, context.store()), chosen)
    except Invalid as error:
        page = render_template("formulas/paste.html", current=current, text=text, fault=error.message, shown=None)
        return page, 422
    # Weights beside percentages that stand already become percentages of what was pasted.
    turned = (
        in_percent(shown.rows) if shown.are_weights and current.draft.lines and current.draft.basis == "w/w" else {}
    )
    more = {"phase": request.form.get("phase", ""), "turned": turned, "roles": COLUMN_WORDS}
    return render_template("formulas/paste.html", current=current, text=text, fault="", shown=shown, **more)


@blueprint.post("/<int:formula_id>/paste/use")
def use_pasted(formula_id: int) -> Page:
    """Add the rows as one step, so that one undo takes them all back."""
    current = _open(formula_id)
    phases = [phase.id for phase in current.draft.phases]
    phase = request.form.get("phase", "")
    start = current.draft
    if request.form.get("weights") and not start.lines:
        start = replace(start, basis="amounts", batch="")
    draft = with_rows(start, _chosen(), phase if phase in phases else phases[0], new_id)
    count = len(draft.lines) - len(current.draft.lines)
    if request.form.get("sort"):
        # Sort the lines into their usual phases by the materials that their names mean.
        with context.store().reading() as session:
            matched = match_materials(session, draft)
            shelf = shelf_of(session, matched)
        materials = {line.id: shelf.get(line.material_id or 0) for line in matched.lines}
        draft = sort_into_phases(draft, {key: m.phase_hint for key, m in materials.items() if m}, new_id)
    origin = SaveOrigin(current.row_version, "paste")
    save_draft(context.store(), formula_id, draft, origin, change=f"Pasted {count} rows")
    return redirect(url_for("formulas.show", formula_id=formula_id), 303)


def _open(formula_id: int) -> OpenDraft:
    with context.store().reading() as session:
        return open_draft(session, formula_id)


def _chosen() -> Iterable[tuple[str, str, str]]:
    form = request.form
    for place in form.getlist("row")[:MOST_LINES]:
        name, amount, choice = (form.get(f"{field}.{place}", "") for field in ("name", "amount", "choice"))
        if form.get(f"use.{place}") and name.strip():
            known = choice and choice != KEEP_AS_TYPED
            yield (
                (accept_suggestion(context.store(), choice, name) if known else name),
                amount,
                form.get(f"phase.{place}", ""),
            )
