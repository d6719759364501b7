"""The pH page of a formula: neutralisers, thickeners and preservation in full, and stock solutions."""

from collections.abc import Callable

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.store.errors import Conflict
from app.web import context
from app.web.formulas.forms import new_id
from app.web.formulas.page import FormulaPage, load_page
from app.web.ph.area import blueprint
from app.web.ph.section import ph_view
from app.web.row_number import number
from app.work.form import Faults
from app.work.formulas.editing import SaveOrigin
from app.work.formulas.steps import OpenDraft
from app.work.ph.adjuster_comparison import (
    ChangedFormula,
    choose_neutraliser,
    choose_thickener,
    neutralising,
    thickener_rows,
)
from app.work.ph.preservation import VERDICT_WORDS, preservation_details
from app.work.ph.stock_solutions import STARTS, StockForm, start_of, stock_of

Page = str | Response | tuple[str, int]


@blueprint.get("/formulas/<int:formula_id>/ph")
def full(formula_id: int) -> Page:
    """Show everything about the pH of a formula."""
    return _page(load_page(context.store(), formula_id))


def _page(sheet: FormulaPage, fault: str = "") -> str:
    choice = _choice(sheet, -1)
    view = ph_view(sheet.results, choice.chosen)
    formula = sheet.results.formula
    at = view.report.prediction if view else None
    return render_template(
        "ph/page.html",
        current=sheet.current,
        view=view,
        fault=fault,
        total=sheet.results.total,
        neutral=neutralising(choice.materials, formula.target_ph, view.batch_g, choice.chosen) if view else None,
        thickeners=thickener_rows(choice.materials, at.ph.value if at else None),
        ids=choice.ids,
        line=request.values.get("line", ""),
        keeping=preservation_details(choice.materials) if view else None,
        verdict_words=VERDICT_WORDS,
    )


def _choice(sheet: FormulaPage, row_version: int) -> ChangedFormula:
    rows = [line for line in sheet.results.formula.lines if line.material.id and line.parts and line.percent > 0]
    # The place of the line that the maker picked to set the pH, from the address or the form.
    ids = [line.material.id for line in rows]
    asked = number(request.values.get("line", ""))
    places = [place for place, key in enumerate(ids) if key == asked]
    return ChangedFormula(
        formula_id=sheet.current.formula_id,
        draft=sheet.current.draft,
        origin=SaveOrigin(row_version, f"ph-{new_id()}"),
        materials=tuple(DosedMaterial(line.name, line.percent, line.parts) for line in rows),
        ids=tuple(line.material.id for line in rows),
        chosen=places[-1] if places else None,
    )


def _chosen(
    formula_id: int, apply: Callable[[ChangedFormula, FormulaPage], tuple[OpenDraft, str]], anchor: str
) -> Page:
    sheet = load_page(context.store(), formula_id)
    version = number(request.form.get("row_version", ""))
    choice = _choice(sheet, -1 if version is None else version)
    try:
        _, words = apply(choice, sheet)
    except Faults as error:
        return _page(sheet, error.faults[0].message), 422
    except Invalid as error:
        return _page(sheet, error.message), 422
    except Conflict as error:
        return _page(sheet, f"{error} See what is here now, then choose again."), 409
    flash(f"{words} Undo on the formula page takes it back.")
    return redirect(url_for("ph.full", formula_id=formula_id, _anchor=anchor), 303)


@blueprint.post("/formulas/<int:formula_id>/ph/neutraliser")
def neutraliser(formula_id: int) -> Page:
    """Put another neutraliser into the formula, at the dose for the target."""
    inci = request.form.get("inci", "")

    def apply(choice: ChangedFormula, sheet: FormulaPage) -> tuple[OpenDraft, str]:
        return choose_neutraliser(context.store(), choice, inci, sheet.results.formula.target_ph)

    return _chosen(formula_id, apply, "neutralisers")


@blueprint.post("/formulas/<int:formula_id>/ph/thickener")
def thickener(formula_id: int) -> Page:
    """Put another thickener into the formula, at its middle dose."""
    inci = request.form.get("inci", "")
    return _chosen(formula_id, lambda choice, _: choose_thickener(context.store(), choice, inci), "thickeners")


@blueprint.get("/formulas/<int:formula_id>/ph/stock")
def stock(formula_id: int) -> Page:
    """Work out a stock solution, with a label for the bottle."""
    current = load_page(context.store(), formula_id).current
    # Read the form from the address; what was not asked yet is as usual for the starting material.
    asked = request.args
    key = asked.get("start", STARTS[0].key)
    try:
        usual = start_of(key)
    except Invalid:
        usual = STARTS[0]
    changed = asked.get("shown", key) != key
    if changed or "strength" not in asked:
        form = StockForm(key, usual.assay_percent, usual.usual_percent, asked.get("total", "100"))
    else:
        form = StockForm.sent(asked)
    faults: dict[str, str] = {}
    made = None
    try:
        made = stock_of(form)
    except Faults as error:
        faults = error.by_field
    page = render_template("ph/stock.html", current=current, form=form, made=made, faults=faults)
    return (page, 422) if faults else page
