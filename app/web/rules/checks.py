"""The checks of a formula: the page that answers them, the sheet and its PDF."""

from flask import flash, make_response, redirect, render_template, request, url_for

from app.documents.papers import print_paper
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.web import context
from app.web.papers.views import setting
from app.web.row_number import number
from app.web.rules.area import Page, blueprint
from app.work.form import Faults
from app.work.rules.sheet import ChecksSheet, answer_finding, checks_sheet

FIELDS = ("finding", "reason", "who")


@blueprint.get("/formulas/<int:formula_id>/checks")
def formula_checks(formula_id: int) -> Page:
    """Show every finding of a formula with its answer, or the form to give one."""
    return _page(_sheet(formula_id))


def _sheet(formula_id: int) -> ChecksSheet:
    with context.store().reading() as session:
        return checks_sheet(session, formula_id, number(request.values.get("version", "")))


def _page(sheet: ChecksSheet, typed: dict[str, str] | None = None, faults: dict[str, str] | None = None) -> str:
    return render_template("rules/checks.html", sheet=sheet, typed=typed or {}, faults=faults or {})


@blueprint.post("/formulas/<int:formula_id>/checks")
def give_answer(formula_id: int) -> Page:
    """Take the answer to one finding."""
    typed = {field: request.form.get(field, "") for field in FIELDS}
    version = number(request.form.get("version", ""))
    try:
        found = answer_finding(context.store(), formula_id, version, typed["finding"], typed["reason"], typed["who"])
    except Faults as error:
        return _page(_sheet(formula_id), typed, {fault.field: fault.message for fault in error.faults}), 422
    except Invalid as error:
        return _page(_sheet(formula_id), typed, {error.field: error.message}), 422
    context.remember_person(typed["who"])
    flash("The answer is saved. It holds until the formula changes what was found.")
    return redirect(
        url_for("rules.formula_checks", formula_id=formula_id, version=version, _anchor=f"f-{found.key}"), 303
    )


@blueprint.get("/formulas/<int:formula_id>/checks-sheet")
def checks_paper(formula_id: int) -> Page:
    """Show the checks as a paper."""
    return render_template("rules/paper.html", sheet=_sheet(formula_id), on_page=True)


@blueprint.get("/formulas/<int:formula_id>/checks-sheet.pdf")
def checks_pdf(formula_id: int) -> Page:
    """Return the checks as a PDF."""
    sheet = _sheet(formula_id)
    formula = sheet.formula
    try:
        paper = print_paper("checks", formula.code, formula.version_number, setting(), sheet=sheet)
    except PaperFault as error:
        back = url_for("rules.checks_paper", formula_id=formula_id, version=formula.version_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer
