"""The section under the formula, fetched after what was typed is saved."""

from flask import render_template

from app.web import context
from app.web.formulas.page import look
from app.web.ph import batch_section, bench, pages
from app.web.ph.area import blueprint
from app.web.ph.section import ph_view

__all__ = ["batch_section", "bench", "blueprint", "pages"]


@blueprint.get("/formulas/<int:formula_id>/ph/section")
def section(formula_id: int) -> str:
    """Draw the pH section of a formula as its draft stands."""
    sheet = look(context.store(), formula_id)
    return render_template("ph/_section.html", view=ph_view(sheet.results), there=sheet.there)
