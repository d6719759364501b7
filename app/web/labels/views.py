"""Labels of products: designed once, printed for any batch; small labels of the bench; sheets and their calibration."""

from collections.abc import Callable, Mapping
from urllib.parse import quote

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.documents.label_papers import bench_paper, calibration_paper, label_paper
from app.documents.labels import all_obstacles, drawings_of
from app.documents.papers import PdfFile
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.store.labels import label_sheets
from app.store.material_queries import get_material
from app.web import context
from app.web.papers.views import setting
from app.web.register_pages import RegisterPages
from app.web.row_number import number
from app.work.batches import sections
from app.work.batches.listing import Search, search_batches
from app.work.form import Faults, Overtaken
from app.work.formulas.faults import IncompleteFormula
from app.work.labels.bench_labels import (
    SolutionForm,
    bench_label_of_batch,
    bench_label_of_lot,
    bench_label_of_sample,
    bench_label_of_solution,
    place_of_code,
)
from app.work.labels.content import label_set
from app.work.labels.design import DesignForm, add_design, load_design, remove_design, revise_design, sheet_choices
from app.work.labels.label_sheets import SHEETS, add_common_sheet, sheet_names
from app.work.labels.round_jar import RoundJarForm, add_round_jar
from app.work.products.products import load_product

blueprint = Blueprint("labels", __name__)
Page = Response | str | tuple[str, int]
MOST_PRINTED = 2000


class SheetPages(RegisterPages):
    """The sheets of labels, with the common ones to start from."""

    def _list(self, form: object, faults: dict[str, str]) -> str:
        rows = self.register.list(context.store())
        return render_template(
            "labels/sheets.html", pages=self, rows=rows, form=form, faults=faults, common=sheet_names(rows)
        )


SheetPages(SHEETS, "labels", "sheet", "sheets").mount(blueprint, "/label-sheets")


@blueprint.post("/label-sheets/common")
def add_common() -> Page:
    """Take a common sheet into the workshop."""
    try:
        name = add_common_sheet(context.store(), request.form.get("common", ""))
    except Invalid as fault:
        flash(fault.message)
    else:
        flash(f"Added {name}. Print its calibration page before the first labels.")
    return redirect(url_for("labels.sheets"), 303)


@blueprint.get("/label-sheets/<int:sheet_id>/calibration.pdf")
def calibration(sheet_id: int) -> Page:
    """Return the calibration page of a sheet."""
    return _pdf(lambda: calibration_paper(SHEETS.load(context.store(), sheet_id), setting()), url_for("labels.sheets"))


@blueprint.get("/products/<int:product_id>/labels")
def of_product(product_id: int) -> Page:
    """Show the labels of a product as they will be printed, and what stands in the way."""
    batch_id = number(request.args.get("batch", ""))
    back = url_for("products.edit", product_id=product_id)
    try:
        with context.store().reading() as session:
            found = label_set(session, product_id, batch_id)
            drawings = drawings_of(found)
    except (IncompleteFormula, Invalid) as fault:
        words = fault.message if isinstance(fault, Invalid) else "The formula does not add up yet."
        return render_template("labels/not_yet.html", words=words, back=back), 422
    batches = search_batches(context.store(), Search(formula_id=found.product.formula_id))
    return render_template(
        "labels/product.html",
        found=found,
        drawings=drawings,
        obstacles=all_obstacles(found, list(drawings.values())),
        batches=batches,
        count=number(request.args.get("count", "")),
    )


@blueprint.get("/products/<int:product_id>/labels/new")
def new(product_id: int) -> str:
    """Show the form of a new label."""
    return _form(DesignForm(), {}, product_id=product_id)


@blueprint.post("/products/<int:product_id>/labels")
def add(product_id: int) -> Page:
    """Add a label to a product."""
    form = DesignForm.sent(request.form)
    try:
        add_design(context.store(), product_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _form(form, wrong.by_field, product_id=product_id), 422
    flash(f"Added the label {form.text['name'].strip()}.")
    return redirect(url_for("labels.of_product", product_id=product_id), 303)


@blueprint.get("/products/<int:product_id>/labels/round")
def new_round(product_id: int) -> str:
    """Show the form for the labels of a round jar."""
    return _round(product_id, RoundJarForm(), {})


def _round(product_id: int, form: RoundJarForm, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        product = load_product(session, product_id)
    return render_template("labels/round.html", form=form, faults=faults, product=product)


@blueprint.post("/products/<int:product_id>/labels/round")
def add_round(product_id: int) -> Page:
    """Make the labels of a round jar."""
    form = RoundJarForm.sent(request.form)
    try:
        count = add_round_jar(context.store(), product_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _round(product_id, form, wrong.by_field), 422
    flash(f"Made {count} labels and the sheets they are cut from." if count > 1 else "Made the wrap and its sheet.")
    return redirect(url_for("labels.of_product", product_id=product_id), 303)


def _stored(design_id: int) -> tuple[DesignForm, int]:
    with context.store().reading() as session:
        design = load_design(session, design_id)
        return DesignForm.of(design), design.product_id


@blueprint.get("/labels/<int:design_id>")
def edit(design_id: int) -> str:
    """Show the form of a label."""
    form, product_id = _stored(design_id)
    return _form(form, {}, product_id=product_id, design_id=design_id, seen=form.fingerprint)


@blueprint.post("/labels/<int:design_id>")
def save(design_id: int) -> Page:
    """Save a changed label; what somebody else saved meanwhile is shown beside it."""
    form, seen = DesignForm.sent(request.form), request.form.get("seen", "")
    _, product_id = _stored(design_id)
    try:
        revise_design(context.store(), design_id, form, seen)
    except Faults as wrong:
        return _form(form, wrong.by_field, product_id=product_id, design_id=design_id, seen=seen), 422
    except Overtaken as wrong:
        more = {"seen": wrong.mark, "differences": wrong.differences}
        return _form(form, {}, product_id=product_id, design_id=design_id, **more), 409
    flash(f"Saved the label {form.text['name'].strip()}.")
    return redirect(url_for("labels.of_product", product_id=product_id), 303)


@blueprint.post("/labels/<int:design_id>/remove")
def remove(design_id: int) -> Response:
    """Take a label off a product."""
    _, product_id = _stored(design_id)
    flash(f"The label {remove_design(context.store(), design_id)} is gone.")
    return redirect(url_for("labels.of_product", product_id=product_id), 303)


def _form(form: DesignForm, faults: Mapping[str, str], **more: object) -> str:
    with context.store().reading() as session:
        sheets = label_sheets(session)
        product = load_product(session, int(str(more["product_id"])))
    given = {"design_id": None, "seen": "", "differences": (), **more}
    return render_template(
        "labels/design.html", form=form, faults=faults, sheets=sheet_choices(sheets), product=product, **given
    )


@blueprint.get("/labels/<int:design_id>.pdf")
def pdf(design_id: int) -> Page:
    """Return a label as a PDF: a proof, or for sale where nothing stands in the way."""
    _, product_id = _stored(design_id)
    back = f"{url_for('labels.of_product', product_id=product_id)}?{request.query_string.decode('ascii', 'ignore')}"
    batch_id, start = number(request.args.get("batch", "")), number(request.args.get("start", "")) or 1
    count, for_sale = number(request.args.get("count", "")) or 1, request.args.get("sale") == "1"
    try:
        with context.store().reading() as session:
            found = label_set(session, product_id, batch_id)
            drawings = drawings_of(found)
    except (IncompleteFormula, Invalid):
        return of_product(product_id)
    obstacles = all_obstacles(found, list(drawings.values()))
    if for_sale and obstacles:
        return render_template("labels/refused.html", found=found, obstacles=obstacles, back=back), 409
    design = next(one for one in found.designs if one.id == design_id)
    how = (min(count, MOST_PRINTED), start, not for_sale)
    return _pdf(lambda: label_paper(found, design, drawings[design_id], how, setting()), back)


sections.add_link(sections.Link("Small label", "/batches/{batch_id}/label.pdf"))


@blueprint.get("/batches/<int:batch_id>/label.pdf")
def of_batch(batch_id: int) -> Page:
    """Return the small label of a batch at the bench."""
    with context.store().reading() as session:
        label = bench_label_of_batch(session, batch_id)
    return _pdf(lambda: bench_paper(label, _address(label.code), setting()), url_for("batches.show", batch_id=batch_id))


@blueprint.get("/stock/lots/<int:lot_id>/label.pdf")
def of_lot(lot_id: int) -> Page:
    """Return the small label of a lot."""
    with context.store().reading() as session:
        label = bench_label_of_lot(session, lot_id)
    return _pdf(lambda: bench_paper(label, _address(label.code), setting()), f"/stock/lots/{lot_id}")


@blueprint.get("/packing/samples/<int:sample_id>/label.pdf")
def of_sample(sample_id: int) -> Page:
    """Return the small label of a retained sample."""
    with context.store().reading() as session:
        label = bench_label_of_sample(session, sample_id)
    return _pdf(lambda: bench_paper(label, _address(label.code), setting()), f"/packing/samples/{sample_id}")


@blueprint.get("/materials/<int:material_id>/label")
def solution(material_id: int) -> Page:
    """Show the form for the small label of a stock solution or a pre-mix."""
    return _solution(material_id, SolutionForm(by=context.person()), {})


def _solution(material_id: int, form: SolutionForm, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        material = get_material(session, material_id)
    return render_template("labels/solution.html", form=form, faults=faults, material=material)


@blueprint.get("/materials/<int:material_id>/label.pdf")
def of_solution(material_id: int) -> Page:
    """Return the small label of a stock solution or a pre-mix."""
    form = SolutionForm.sent(request.args)
    try:
        with context.store().reading() as session:
            label = bench_label_of_solution(session, material_id, form)
    except Faults as wrong:
        return _solution(material_id, form, wrong.by_field), 422
    back = url_for("labels.solution", material_id=material_id)
    return _pdf(lambda: bench_paper(label, _address(label.code), setting()), back)


def _address(code: str) -> str:
    return f"{request.host_url}scan?code={quote(code)}"


@blueprint.get("/scan")
def scan() -> Page:
    """Open what a scanned code belongs to: a batch, a lot, or the product of a bar code."""
    code = request.args.get("code", "").strip()
    if not code:
        return render_template("labels/scan.html", code="", fault="")
    with context.store().reading() as session:
        place = place_of_code(session, code)
    if place is None:
        fault = "No batch, lot, sample, material or product has this code."
        return render_template("labels/scan.html", code=code, fault=fault), 404
    return redirect(place, 303)


def _pdf(make: Callable[[], PdfFile], back: str) -> Page:
    try:
        paper = make()
    except PaperFault as error:
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    headers = {"Content-Disposition": f'inline; filename="{paper.name}"'}
    return Response(paper.content, mimetype="application/pdf", headers=headers)
