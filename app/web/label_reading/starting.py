"""From a list to a formula: the preview, the start, and the comparison afterwards."""

from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for

from app.science.errors import Invalid
from app.web import context
from app.web.label_reading.area import Page, blueprint
from app.web.label_reading.forms import OUT, choices
from app.web.materials.forms import whole_number
from app.work.form import Faults
from app.work.label_reading.choosing import Choices, check_something_left, own_shelf
from app.work.label_reading.estimate import LabelEstimate
from app.work.label_reading.list_comparison import compare
from app.work.label_reading.lists import open_list, taught_names
from app.work.label_reading.preview import changes, preview
from app.work.label_reading.starting import StartForm, start_formula
from app.work.label_reading.two_lists import two_lists


def cost_of(sheet: LabelEstimate) -> str:
    """Return what the estimate would cost, covered by materials."""
    try:
        with context.store().reading() as session:
            return preview(session, sheet, own_shelf(session), Choices(), taught_names(session)).cost
    except Invalid as fault:
        return f"not known: {fault.message}"


@blueprint.get("/<int:list_id>/start")
def start_page(list_id: int) -> Page:
    """Show what a formula from this list would be, with the choices."""
    return _start(list_id, choices(request.args), None, {})


def _start(list_id: int, chosen: Choices, form: StartForm | None, faults: Mapping[str, str]) -> Page:
    with context.store().reading() as session:
        current = open_list(session, list_id)
        own, taught = own_shelf(session), taught_names(session)
        form = form or StartForm(f"{current.typed.title}, my start")
        values: dict[str, object] = {"current": current, "chosen": chosen, "form": form, "out": OUT}
        try:
            check_something_left(current.sheet, chosen)
            found = preview(session, current.sheet, own, chosen, taught)
            plain = preview(session, current.sheet, own, Choices(), taught) if found.plan.choices.any else found
        except Invalid as fault:
            message = fault.message[:1].upper() + fault.message[1:]
            page = render_template("label_reading/start.html", found=None, faults={"choices": message}, **values)
            return page, 422
    values |= {"found": found, "changes": changes(plain, found) if found.plan.choices.any else ()}
    return render_template("label_reading/start.html", faults=faults, **values)


@blueprint.post("/<int:list_id>/start")
def start(list_id: int) -> Page:
    """Start the formula."""
    chosen, form = choices(request.form), StartForm.sent(request.form)
    try:
        formula_id = start_formula(context.store(), list_id, chosen, form, request.form.get("form_key", ""))
    except Faults as wrong:
        faults = wrong.by_field
    except Invalid as wrong:
        faults = {wrong.field: wrong.message}
    else:
        flash("The formula is started; its ingredient list is beside the printed one here.")
        return redirect(url_for("label_reading.compare_page", list_id=list_id, formula_id=formula_id), 303)
    page = _start(list_id, chosen, form, faults)
    return page if isinstance(page, tuple) else (page, 422)


@blueprint.get("/<int:list_id>/compare/<int:formula_id>")
def compare_page(list_id: int, formula_id: int) -> str:
    """Compare the declaration of a draft with the list it came from."""
    with context.store().reading() as session:
        found = compare(session, list_id, formula_id)
    return render_template("label_reading/compare.html", found=found)


@blueprint.get("/<int:list_id>/beside")
def beside(list_id: int) -> Page:
    """Put another list beside this one."""
    other = whole_number(request.args.get("other", ""))
    with context.store().reading() as session:
        found = two_lists(session, list_id, other)
    return render_template("label_reading/beside.html", found=found)
