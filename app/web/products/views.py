"""The products of a formula, the form of one, and exchange rates."""

from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.papers import pdf_named
from app.documents.render import PaperFault
from app.store.material_queries import every_packaging
from app.store.products import exchange_rates, products_of, products_page
from app.web import context
from app.web.paging import ROWS, page_after_skipped
from app.web.papers.views import setting
from app.web.products import dossiers
from app.web.products.area import blueprint
from app.web.template_tools import workshop
from app.work.form import Faults, Form, Overtaken
from app.work.formulas.editing import open_draft
from app.work.products.price_list import PriceList, price_list, price_list_csv
from app.work.products.product_form import PackForm, ProductForm, RateForm, packaging_choices
from app.work.products.products import add_product, load_product, retire_product, revise_product, set_rate

__all__ = ["blueprint", "dossiers"]

Page = Response | str | tuple[str, int]


@blueprint.get("/products")
def index() -> str:
    """List every product, with the exchange rates."""
    return _index(RateForm(), {})


def _index(form: RateForm, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: products_page(session, skip=skip, most=ROWS + 1), ROWS)
        rates = exchange_rates(session)
    return render_template("products/index.html", page=page, rates=rates, form=form, faults=faults)


@blueprint.get("/products/price-list")
def prices() -> str:
    """Show the price list, a page of it; the PDF and the file hold all."""
    with context.store().reading() as session:
        page = page_after_skipped(lambda skip: products_page(session, skip=skip, most=ROWS + 1), ROWS)
        return render_template("products/price_list.html", listed=price_list(session, page.rows), page=page)


def _listed() -> PriceList:
    with context.store().reading() as session:
        return price_list(session)


@blueprint.get("/products/price-list.csv")
def prices_csv() -> Response:
    """Return the price list as a file for spreadsheets."""
    listed = _listed()
    answer = Response(price_list_csv(listed), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="price-list_{listed.day.isoformat()}.csv"'
    return answer


@blueprint.get("/products/price-list.pdf")
def prices_pdf() -> Page:
    """Return the price list as a PDF."""
    try:
        paper = pdf_named("price_list", (), setting(), listed=_listed())
    except PaperFault as error:
        return render_template("papers/fault.html", reason=str(error), back=url_for("products.prices")), 503
    answer = Response(paper.content, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="{paper.name}"'
    return answer


@blueprint.post("/products/rates")
def rate() -> Page:
    """Note an exchange rate."""
    form = RateForm.sent(request.form)
    try:
        set_rate(context.store(), form)
    except Faults as wrong:
        return _index(form, wrong.by_field), 422
    flash(f"Saved the rate of {form.text['currency'].strip().upper()}.")
    return redirect(url_for("products.index"), 303)


@blueprint.get("/formulas/<int:formula_id>/products")
def of_formula(formula_id: int) -> str:
    """List the products of a formula."""
    with context.store().reading() as session:
        formula, rows = open_draft(session, formula_id), products_of(session, formula_id)
    return render_template("products/of_formula.html", formula=formula, rows=rows)


@blueprint.get("/formulas/<int:formula_id>/products/new")
def new(formula_id: int) -> str:
    """Show the form of a new product, with what the workshop and the formula say already."""
    with context.store().reading() as session:
        formula = open_draft(session, formula_id)
    shop = workshop()
    start = ProductForm(
        name=formula.name,
        jurisdiction=shop.jurisdiction.value,
        currency=shop.currency,
        tax_percent=f"{shop.tax_percent:f}",
        fill=formula.draft.fill,
    )
    return _form(start, {}, formula_id=formula_id)


@blueprint.post("/formulas/<int:formula_id>/products")
def add(formula_id: int) -> Page:
    """Add a product."""
    form = ProductForm.sent(request.form)
    try:
        add_product(context.store(), formula_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _form(form, wrong.by_field, formula_id=formula_id), 422
    flash(f"Added {form.text['name'].strip()}.")
    return redirect(url_for("products.of_formula", formula_id=formula_id), 303)


@blueprint.get("/products/<int:product_id>")
def edit(product_id: int) -> str:
    """Show the form of a product."""
    form, formula_id = _stored(product_id)
    return _form(form, {}, formula_id=formula_id, product_id=product_id, seen=form.fingerprint)


def _stored(product_id: int) -> tuple[ProductForm, int]:
    with context.store().reading() as session:
        product = load_product(session, product_id)
        return ProductForm.of(product), product.formula_id


@blueprint.post("/products/<int:product_id>")
def save(product_id: int) -> Page:
    """Save a changed product; what somebody else saved meanwhile is shown beside it."""
    form, seen = ProductForm.sent(request.form), request.form.get("seen", "")
    _, formula_id = _stored(product_id)
    try:
        revise_product(context.store(), product_id, form, seen)
    except Faults as wrong:
        return _form(form, wrong.by_field, formula_id=formula_id, product_id=product_id, seen=seen), 422
    except Overtaken as wrong:
        more = {"seen": wrong.mark, "differences": wrong.differences}
        return _form(form, {}, formula_id=formula_id, product_id=product_id, **more), 409
    flash(f"Saved {form.text['name'].strip()}.")
    return redirect(url_for("products.of_formula", formula_id=formula_id), 303)


@blueprint.post("/products/<int:product_id>/retire")
def retire(product_id: int) -> Response:
    """Take a product off the lists, or put it back."""
    _, formula_id = _stored(product_id)
    back = bool(request.form.get("back"))
    name = retire_product(context.store(), product_id, back=back)
    flash(f"{name} is back on the lists." if back else f"{name} is retired; nothing that was made of it changes.")
    return redirect(url_for("products.of_formula", formula_id=formula_id), 303)


def _form(form: ProductForm, faults: Mapping[str, str], **more: object) -> str:
    with context.store().reading() as session:
        pieces = packaging_choices([piece for piece in every_packaging(session) if piece.retired_at is None])
    rows: tuple[Form, ...] = form.fields["packaging"].placed((*form.text["packaging"], PackForm()))  # type: ignore[attr-defined]
    given = {"product_id": None, "seen": "", "differences": (), **more}
    return render_template("products/product.html", form=form, faults=faults, pieces=pieces, packs=rows, **given)
