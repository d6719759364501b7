"""The dossier of a product: its page, the PDF, and the archive with the documents."""

from typing import Any

from flask import render_template, url_for
from werkzeug.wrappers import Response

from app.documents.dossier import dossier_archive, dossier_paper, dossier_values
from app.documents.papers import PdfFile
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.web import context
from app.web.papers.views import setting
from app.web.products.area import blueprint
from app.work.formulas.faults import IncompleteFormula
from app.work.products.dossier import dossier as read_dossier
from app.work.stock.documents import content_of

Page = Response | str | tuple[str, int]


def _values(product_id: int) -> dict[str, Any]:
    with context.store().reading() as session:
        return dossier_values(read_dossier(session, product_id))


@blueprint.get("/products/<int:product_id>/dossier")
def dossier(product_id: int) -> Page:
    """Show the dossier of a product."""
    try:
        values = _values(product_id)
    except (IncompleteFormula, Invalid) as fault:
        return _not_yet(product_id, fault)
    return render_template("products/dossier.html", on_page=True, **values)


def _not_yet(product_id: int, fault: Exception) -> tuple[str, int]:
    words = fault.message if isinstance(fault, Invalid) else "The formula does not add up yet, and no version is saved."
    back = url_for("products.edit", product_id=product_id)
    return render_template("products/no_dossier.html", words=words, back=back), 422


def _printed(product_id: int, values: dict[str, Any]) -> PdfFile | tuple[str, int]:
    try:
        return dossier_paper(values, setting())
    except PaperFault as error:
        back = url_for("products.dossier", product_id=product_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503


@blueprint.get("/products/<int:product_id>/dossier.pdf")
def dossier_pdf(product_id: int) -> Page:
    """Return the dossier as a PDF."""
    try:
        paper = _printed(product_id, _values(product_id))
    except (IncompleteFormula, Invalid) as fault:
        return _not_yet(product_id, fault)
    if not isinstance(paper, PdfFile):
        return paper
    headers = {"Content-Disposition": f'inline; filename="{paper.name}"'}
    return Response(paper.content, mimetype="application/pdf", headers=headers)


@blueprint.get("/products/<int:product_id>/dossier.zip")
def dossier_zip(product_id: int) -> Page:
    """Return the dossier with every linked document as an archive."""
    try:
        values = _values(product_id)
        paper = _printed(product_id, values)
    except (IncompleteFormula, Invalid) as fault:
        return _not_yet(product_id, fault)
    if not isinstance(paper, PdfFile):
        return paper
    store = context.store()
    content = dossier_archive(values["dossier"], paper, lambda document: content_of(store, document))
    headers = {"Content-Disposition": f'attachment; filename="{paper.name.removesuffix(".pdf")}.zip"'}
    return Response(content, mimetype="application/zip", headers=headers)
