"""The prices of a material."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.materials.area import blueprint
from app.web.materials.page import render_page
from app.work.form import Faults, Overtaken
from app.work.materials.prices import PriceForm, add_price, price_of, remove_price, revise_price
from app.work.materials.shelf import load_material


def _to_material(material_id: int) -> Response:
    return redirect(url_for("materials.show", material_id=material_id, _anchor="prices"), 303)


@blueprint.post("/materials/<int:material_id>/prices")
def create_price(material_id: int) -> Response | tuple[str, int]:
    """Add a price."""
    form = PriceForm.sent(request.form)
    try:
        add_price(context.store(), material_id, form, request.form.get("key", ""))
    except Faults as wrong:
        return render_page(load_material(context.store(), material_id), form, wrong.by_field), 422
    flash("Price added.")
    return _to_material(material_id)


def _page(material_id: int, price_id: int, form: PriceForm | None = None, **more: object) -> str:
    material = load_material(context.store(), material_id)
    stored = PriceForm.of(price_of(material, price_id))
    given = {"faults": {}, "differences": (), "seen": stored.fingerprint}
    return render_template(
        "materials/price.html", **{**given, **more}, material=material, price_id=price_id, form=form or stored
    )


@blueprint.get("/materials/<int:material_id>/prices/<int:price_id>")
def edit_price(material_id: int, price_id: int) -> str:
    """Offer a price to be changed."""
    return _page(material_id, price_id)


@blueprint.post("/materials/<int:material_id>/prices/<int:price_id>")
def save_price(material_id: int, price_id: int) -> Response | tuple[str, int]:
    """Write what was changed in a price."""
    form, seen = PriceForm.sent(request.form), request.form.get("seen", "")
    try:
        revise_price(context.store(), material_id, price_id, form, seen)
    except Faults as wrong:
        return _page(material_id, price_id, form, faults=wrong.by_field, seen=seen), 422
    except Overtaken as wrong:
        return _page(material_id, price_id, form, differences=wrong.differences), 409
    flash("Price saved.")
    return _to_material(material_id)


@blueprint.get("/materials/<int:material_id>/prices/<int:price_id>/remove")
def confirm_remove_price(material_id: int, price_id: int) -> str:
    """Ask before a price is removed."""
    material = load_material(context.store(), material_id)
    return render_template("materials/remove_price.html", material=material, price=price_of(material, price_id))


@blueprint.post("/materials/<int:material_id>/prices/<int:price_id>/remove")
def drop_price(material_id: int, price_id: int) -> Response:
    """Remove a price."""
    remove_price(context.store(), material_id, price_id)
    flash("Price removed.")
    return _to_material(material_id)
