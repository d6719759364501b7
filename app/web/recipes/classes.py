"""A class: the page with its kits and shopping list, and everything of it as one PDF."""

from dataclasses import dataclass

from flask import Response, render_template, request, url_for

from app.documents.class_kits import ClassLabels, class_labels, class_paper, usual_grid
from app.documents.papers import PageSetup
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.science.label_sheets import SheetGrid
from app.store.labels import LabelSheet, label_sheets
from app.store.products import Product, products_of
from app.web import context
from app.web.papers.views import asked, setting
from app.web.recipes.area import blueprint
from app.web.row_number import number
from app.work.class_kits import ClassKits, class_kits, read_participants, read_step
from app.work.formulas.faults import IncompleteFormula
from app.work.labels.label_sheets import grid_of

Page = Response | str | tuple[str, int]
USUAL_COUNT = "8"


@dataclass(frozen=True, slots=True)
class _Asked:
    """A class as it was asked for, with what there is to choose from; a fault instead of kits where it cannot be."""

    kits: ClassKits | None
    grid: SheetGrid
    setting: PageSetup
    sheets: tuple[LabelSheet, ...]
    products: tuple[Product, ...]
    fault: Invalid | None

    @property
    def labels(self) -> ClassLabels | None:
        return class_labels(self.kits, self.grid) if self.kits else None


def _asked(formula_id: int) -> _Asked:
    args, found = request.args, setting()
    kits, fault = None, None
    with context.store().reading() as session:
        sheets, products = tuple(label_sheets(session)), tuple(products_of(session, formula_id))
        chosen = next((one for one in sheets if one.id == number(args.get("sheet", ""))), None)
        grid = grid_of(chosen) if chosen else usual_grid(found.paper or found.workshop.paper.value)
        try:
            count, step = read_participants(args.get("participants", USUAL_COUNT)), read_step(args.get("step", ""))
            kits = class_kits(session, asked(formula_id), count, step)
        except Invalid as wrong:
            fault = wrong
        except IncompleteFormula:
            fault = Invalid("formula", "The formula does not add up yet.")
    return _Asked(kits, grid, found, sheets, products, fault)


@blueprint.get("/formulas/<int:formula_id>/class")
def plan_class(formula_id: int) -> Page:
    """Show the kits of a class, with what is missing."""
    found = _asked(formula_id)
    page = render_template(
        "recipes/class.html", found=found, kits=found.kits, fault=found.fault, formula_id=formula_id, on_page=True,
        labels=found.labels, query=request.query_string.decode("ascii", "ignore"), usual_count=USUAL_COUNT,
    )  # fmt: skip
    return (page, 422) if found.fault else page


@blueprint.get("/formulas/<int:formula_id>/class.pdf")
def class_pdf(formula_id: int) -> Page:
    """Return everything of a class as one PDF."""
    found = _asked(formula_id)
    if found.kits is None:
        return plan_class(formula_id)
    try:
        paper = class_paper(found.kits, found.grid, found.setting)
    except PaperFault as error:
        back = url_for("recipes.plan_class", formula_id=formula_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    headers = {"Content-Disposition": f'inline; filename="{paper.name}"'}
    return Response(paper.content, mimetype="application/pdf", headers=headers)
