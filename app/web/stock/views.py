"""What is on hand, the lots of one material or packaging, one lot, and the count of many."""

from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.store.errors import Conflict
from app.store.stock import Lot, get_lot, lots_by_id
from app.web import context
from app.web.materials.forms import whole_number
from app.web.paging import asked_number, counted_page
from app.web.register_pages import RegisterPages
from app.web.stock import documents, orders, prices
from app.web.stock.area import blueprint
from app.web.stock.thing_page import of_thing_page, things
from app.work.batches.loading import load_batch
from app.work.clock import today
from app.work.form import Faults, Form, Overtaken
from app.work.stock import listing, lots, suppliers
from app.work.stock.counting import CountSheetForm, count_sheet, save_count
from app.work.stock.documents import documents_about
from app.work.stock.lot_composition import LotCompositionForm, load_composition, set_composition

__all__ = ["blueprint", "documents", "orders", "prices"]

Page = Response | str | tuple[str, int]
SHOWN = {"": "everything", "low": "low", "due": "due within 30 days or past", "quarantine": "in quarantine"}

RegisterPages(suppliers.SUPPLIERS, "stock", "supplier", "suppliers").mount(blueprint, "/stock/suppliers")


@blueprint.post("/stock/suppliers/<int:supplier_id>/<any(retire, 'bring-back'):action>")
def retire_supplier(supplier_id: int, action: str) -> Response:
    """Take a supplier out of the choices, or put it back."""
    back = action == "bring-back"
    name = suppliers.SUPPLIERS.retire(context.store(), supplier_id, back=back)
    flash(f"{name} is back." if back else f"Retired {name}. Lots and orders keep it.")
    return redirect(url_for("stock.suppliers"), 303)


@blueprint.get("/stock")
def index() -> str:
    """Show what is on hand."""
    words, show = request.args.get("q", "")[:200], request.args.get("show", "")
    show = show if show in SHOWN else ""
    found = listing.load_stock(context.store(), words, show, asked_number())
    return render_template(
        "stock/index.html",
        page=counted_page(*found, most=listing.PAGE),
        words=words,
        show=show,
        shown=SHOWN,
        today=today(),
    )


@blueprint.get("/stock/<any(material, packaging):kind>/<int:thing_id>")
def of_thing(kind: str, thing_id: int) -> str:
    """Show the lots of one material or packaging, with the form of a delivery."""
    form = lots.ReceiveForm(by=context.person())
    return of_thing_page(kind, thing_id, form, {})


@blueprint.post("/stock/<any(material, packaging):kind>/<int:thing_id>")
def receive(kind: str, thing_id: int) -> Page:
    """Receive a delivery."""
    form = lots.ReceiveForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        lot_id = lots.receive(context.store(), form, **things(kind, thing_id), key=request.form.get("key", ""))
    except Faults as wrong:
        return of_thing_page(kind, thing_id, form, wrong.by_field), 422
    flash("Received.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.get("/stock/lots/<int:lot_id>")
def lot(lot_id: int) -> str:
    """Show one lot with its ledger."""
    return _lot_page(lot_id)


def _lot_page(lot_id: int, faults: Mapping[str, str] | None = None, **typed: Form) -> str:
    """Return the page of a lot; the form that was refused is shown as it was typed."""
    person = context.person()
    forms: dict[str, Form] = {
        "decision": lots.DecisionForm(state="accepted", by=person),
        "move": lots.MoveForm(by=person),
        "count": lots.CountForm(by=person),
        **typed,
    }
    with context.store().reading() as session:
        found = get_lot(session, lot_id)
        return render_template(
            "stock/lot.html",
            lot=found,
            moves=list(reversed(found.moves)),
            history=list(found.history),
            against=found.why_not(today()),
            by_hand=[kind.value for kind in lots.BY_HAND],
            forms=forms,
            refused=next(iter(typed), ""),
            faults=faults or {},
            documents=documents_about(session, lot_id=lot_id),
        )


@blueprint.post("/stock/lots/<int:lot_id>/decision")
def decide(lot_id: int) -> Page:
    """Accept or reject a lot."""
    form = lots.DecisionForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        lots.decide_lot(context.store(), lot_id, form)
    except Faults as wrong:
        return _lot_page(lot_id, wrong.by_field, decision=form), 422
    flash(f"Lot {form.text['state']}.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.post("/stock/lots/<int:lot_id>/move")
def move(lot_id: int) -> Page:
    """Take from a lot, or put something back."""
    form = lots.MoveForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        lots.move_by_hand(context.store(), lot_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _lot_page(lot_id, wrong.by_field, move=form), 422
    flash("Written into the ledger.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.post("/stock/lots/<int:lot_id>/count")
def count(lot_id: int) -> Page:
    """Write what a count found."""
    form = lots.CountForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        found = lots.count_by_hand(context.store(), lot_id, form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _lot_page(lot_id, wrong.by_field, count=form), 422
    flash(f"Counted: {found}.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.get("/stock/batches/<int:batch_id>")
def of_batch(batch_id: int) -> str:
    """Show the form that keeps what a batch made as a lot."""
    return _output_page(batch_id, lots.OutputForm(by=context.person()), {})


def _output_page(batch_id: int, form: Form, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        return render_template(
            "stock/output.html",
            batch=load_batch(session, batch_id),
            made=lots.lots_from(session, batch_id),
            materials=listing.live_names(session),
            form=form,
            faults=faults,
        )


@blueprint.post("/stock/batches/<int:batch_id>")
def receive_output(batch_id: int) -> Page:
    """Keep what a batch made as a lot."""
    form, material = lots.OutputForm.sent(request.form), whole_number(request.form.get("material", ""))
    context.remember_person(form.text["by"])
    try:
        lot_id = lots.receive_output(
            context.store(), batch_id, form, material_id=material or None, key=request.form.get("key", "")
        )
    except Faults as wrong:
        return _output_page(batch_id, form, wrong.by_field), 422
    flash("Recorded as a lot.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.get("/stock/lots/<int:lot_id>/edit")
def edit_lot(lot_id: int) -> str:
    """Show the particulars of a lot to be corrected."""
    return _edit_page(lot_id)


def _edit_page(lot_id: int, form: lots.LotForm | None = None, **more: object) -> str:
    with context.store().reading() as session:
        lot = get_lot(session, lot_id)
        given: dict[str, object] = {"faults": {}, "differences": (), "row_version": lot.row_version, **more}
        return render_template("stock/edit_lot.html", lot=lot, form=form or lots.LotForm.of(lot), **given)


@blueprint.post("/stock/lots/<int:lot_id>/edit")
def save_lot(lot_id: int) -> Page:
    """Correct the particulars of a lot; what somebody else saved meanwhile is shown beside them."""
    form, row_version = lots.LotForm.sent(request.form), whole_number(request.form.get("row_version", ""))
    try:
        lots.revise_lot(context.store(), lot_id, form, row_version, by=context.person())
    except Faults as wrong:
        return _edit_page(lot_id, form, row_version=row_version, faults=wrong.by_field), 422
    except Overtaken as wrong:
        return _edit_page(lot_id, form, row_version=wrong.mark, differences=wrong.differences), 409
    flash("Lot saved.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.get("/stock/lots/<int:lot_id>/composition")
def composition_of_lot(lot_id: int) -> str:
    """Show what is in one lot, to be corrected by its certificate."""
    found, form = load_composition(context.store(), lot_id, context.person())
    return _composition_page(found, form, {})


def _composition_page(lot: Lot, form: LotCompositionForm, faults: Mapping[str, str]) -> str:
    return render_template("stock/composition.html", lot=lot, form=form, faults=faults)


@blueprint.post("/stock/lots/<int:lot_id>/composition")
def save_composition(lot_id: int) -> Page:
    """Write what is in one lot."""
    form = LotCompositionForm.sent(request.form)
    context.remember_person(form.text["by"])
    try:
        set_composition(context.store(), lot_id, form, whole_number(request.form.get("row_version", "")))
    except (Faults, Conflict) as wrong:
        found, _ = load_composition(context.store(), lot_id)
        faults = wrong.by_field if isinstance(wrong, Faults) else {"by": f"{wrong} Check it, then save again."}
        return _composition_page(found, form, faults), 422 if isinstance(wrong, Faults) else 409
    flash("Composition saved.")
    return redirect(url_for("stock.lot", lot_id=lot_id), 303)


@blueprint.get("/stock/count")
def count_many() -> str:
    """Show the sheet of a stock-take."""
    place = request.args.get("place", "")[:120]
    return _count_page(count_sheet(context.store(), place).but(by=context.person()), place, {})


def _count_page(form: CountSheetForm, place: str, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = lots_by_id(session, {whole_number(row.text["lot"]) for row in form.text["rows"]})
        return render_template("stock/count.html", form=form, lots=found, place=place, faults=faults)


@blueprint.post("/stock/count")
def save_count_of_many() -> Page:
    """Write a stock-take: every difference becomes a line of the ledger."""
    form, place = CountSheetForm.sent(request.form), request.form.get("place", "")[:120]
    context.remember_person(form.text["by"])
    try:
        changed = save_count(context.store(), form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _count_page(form, place, wrong.by_field), 422
    flash(f"Count saved; {changed} {'lot' if changed == 1 else 'lots'} differed.")
    return redirect(url_for("stock.index"), 303)
