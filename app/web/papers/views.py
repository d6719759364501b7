"""Papers of a formula and of a batch: the page, and the same as a PDF."""

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, make_response, render_template, request, url_for

from app.documents.papers import PageSetup, print_paper
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.store.errors import NotFound
from app.store.products import products_of
from app.web import context
from app.web.row_number import number
from app.web.template_tools import workshop
from app.work.batches.planned_sheet import sheet_of_batch
from app.work.clock import today
from app.work.formulas.faults import IncompleteFormula
from app.work.paper_formula import PaperRequest, batch_sheet_of, cost_sheet_of, declaration_of

blueprint = Blueprint("papers", __name__)
Page = str | Response | tuple[str, int]


def asked(formula_id: int) -> PaperRequest:
    """Read from the address which paper is wanted."""
    args = request.args
    version = number(args.get("version", ""))
    if version is None and args.get("version"):
        raise NotFound("There is no such version of this formula.")
    return PaperRequest(
        formula_id,
        version,
        args.get("size", ""),
        args.get("fill", ""),
        args.get("loss", ""),
        args.get("jurisdiction", ""),
        number(args.get("product", "")),
        args.get("prices", ""),
    )


def setting() -> PageSetup:
    """Return the workshop, today, and the paper asked for."""
    paper = request.args.get("paper", "")
    return PageSetup(workshop(), today(), paper if paper in {"A4", "Letter"} else None)


@blueprint.get("/formulas/<int:formula_id>/batch-sheet")
def batch_sheet(formula_id: int) -> Page:
    """Show the batch sheet of a formula."""
    return _page("batch_sheet", formula_id, batch_sheet_of)


@blueprint.get("/formulas/<int:formula_id>/batch-sheet.pdf")
def batch_sheet_pdf(formula_id: int) -> Page:
    """Return the batch sheet of a formula as a PDF."""
    return _pdf("batch_sheet", formula_id, batch_sheet_of)


@blueprint.get("/formulas/<int:formula_id>/cost-sheet")
def cost_sheet(formula_id: int) -> Page:
    """Show the cost sheet of a formula."""
    return _page("cost_sheet", formula_id, cost_sheet_of)


@blueprint.get("/formulas/<int:formula_id>/cost-sheet.pdf")
def cost_sheet_pdf(formula_id: int) -> Page:
    """Return the cost sheet of a formula as a PDF."""
    return _pdf("cost_sheet", formula_id, cost_sheet_of)


@blueprint.get("/formulas/<int:formula_id>/declaration")
def declaration(formula_id: int) -> Page:
    """Show the ingredient declaration of a formula."""
    return _page("declaration", formula_id, declaration_of)


@blueprint.get("/formulas/<int:formula_id>/declaration.pdf")
def declaration_pdf(formula_id: int) -> Page:
    """Return the ingredient declaration of a formula as a PDF."""
    return _pdf("declaration", formula_id, declaration_of)


@blueprint.get("/batches/<int:batch_id>/sheet")
def sheet_for_batch(batch_id: int) -> Page:
    """Show the sheet of a planned batch, with its number."""
    with context.store().reading() as session:
        values = sheet_of_batch(session, batch_id)
    return render_template("papers/batch_page.html", on_page=True, batch_id=batch_id, **values)


@blueprint.get("/batches/<int:batch_id>/sheet.pdf")
def sheet_for_batch_pdf(batch_id: int) -> Page:
    """Return the sheet of a planned batch as a PDF."""
    with context.store().reading() as session:
        values = sheet_of_batch(session, batch_id)
    return _as_pdf("batch_sheet", values, url_for("papers.sheet_for_batch", batch_id=batch_id))


Maker = Callable[[Any, PaperRequest], Any]


def _page(kind: str, formula_id: int, make: Maker) -> Page:
    wanted = asked(formula_id)
    values: dict[str, Any] = {"kind": kind, "asked": wanted, "query": _query()}
    try:
        with context.store().reading() as session:
            values["products"] = products_of(session, formula_id)
            sheet = make(session, wanted)
    except IncompleteFormula as error:
        return render_template("papers/not_yet.html", faults=error.faults, formula_id=formula_id, **values), 422
    except Invalid as error:
        return render_template("papers/page.html", sheet=None, fault=error, on_page=True, **values), 422
    return render_template("papers/page.html", sheet=sheet, fault=None, on_page=True, number=None, **values)


def _query() -> str:
    return request.query_string.decode("ascii", "ignore")


def _pdf(kind: str, formula_id: int, make: Maker) -> Page:
    back = f"{url_for(f'papers.{kind}', formula_id=formula_id)}?{_query()}"
    try:
        with context.store().reading() as session:
            sheet = make(session, asked(formula_id))
    except (IncompleteFormula, Invalid):
        return _page(kind, formula_id, make)
    return _as_pdf(kind, {"sheet": sheet}, back)


def _as_pdf(kind: str, values: dict[str, Any], back: str) -> Page:
    formula = values["sheet"].formula
    try:
        paper = print_paper(kind, values.get("number") or formula.code, formula.version_number, setting(), **values)
    except PaperFault as error:
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    answer = make_response(paper.content)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer
