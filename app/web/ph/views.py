"""The section under the formula, fetched after what was typed is saved."""

from flask import render_template

from app.web import context
from app.web.formulas.page import look
from app.web.ph import bench, pages
from app.web.ph.area import blueprint
from app.web.ph.section import PhView, ph_view
from app.work.formulas.results import Results

__all__ = ["bench", "blueprint", "pages"]


@blueprint.app_template_global("ph_view")
def _ph_view(results: Results) -> PhView | None:
    return ph_view(results)


@blueprint.get("/formulas/<int:formula_id>/ph/section")
def section(formula_id: int) -> str:
    """Draw the pH section of a formula as its draft stands."""
    sheet = look(context.store(), formula_id)
    return render_template("ph/_section.html", view=ph_view(sheet.results), there=sheet.there)
