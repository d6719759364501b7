"""The prices of packaging."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.stock.area import blueprint
from app.web.stock.thing_page import of_thing_page
from app.work.form import Faults, Overtaken
from app.work.materials import prices
from app.work.stock.lots import ReceiveForm

Page = Response | str | tuple[str, int]


def _to_packaging(packaging_id: int) -> Response:
    return redirect(url_for("stock.of_thing", kind="packaging", thing_id=packaging_id, _anchor="prices"), 303)


@blueprint.post("/stock/packaging/<int:packaging_id>/prices")
def add_price(packaging_id: int) -> Page:
    """Add a price of packaging."""
    form = prices.PriceForm.sent(request.form)
    try:
        prices.add_price(context.store(), packaging_id, form, request.form.get("key", ""), packaging=True)
    except Faults as wrong:
        lots_form = ReceiveForm(by=context.person())
        return of_thing_page("packaging", packaging_id, lots_form, {}, form, wrong.by_field), 422
    flash("Price added.")
    return _to_packaging(packaging_id)


def _page(packaging_id: int, price_id: int, form: prices.PriceForm | None = None, **more: object) -> str:
    with context.store().reading() as session:
        thing = prices.priced_thing(session, packaging_id, packaging=True)
        stored = prices.PriceForm.of(prices.price_of(thing, price_id))
    given = {"price_faults": {}, "differences": (), "seen": stored.fingerprint}
    return render_template(
        "stock/price.html", **{**given, **more}, thing=thing, price_id=price_id, price_form=form or stored
    )


@blueprint.get("/stock/packaging/<int:packaging_id>/prices/<int:price_id>")
def edit_price(packaging_id: int, price_id: int) -> str:
    """Offer a price to be changed."""
    return _page(packaging_id, price_id)


@blueprint.post("/stock/packaging/<int:packaging_id>/prices/<int:price_id>")
def save_price(packaging_id: int, price_id: int) -> Page:
    """Write what was changed in a price."""
    form, seen = prices.PriceForm.sent(request.form), request.form.get("seen", "")
    try:
        prices.revise_price(context.store(), packaging_id, price_id, form, seen, packaging=True)
    except Faults as wrong:
        return _page(packaging_id, price_id, form, price_faults=wrong.by_field, seen=seen), 422
    except Overtaken as wrong:
        return _page(packaging_id, price_id, form, differences=wrong.differences), 409
    flash("Price saved.")
    return _to_packaging(packaging_id)


@blueprint.post("/stock/packaging/<int:packaging_id>/prices/<int:price_id>/remove")
def drop_price(packaging_id: int, price_id: int) -> Response:
    """Remove a price that was noted by mistake."""
    prices.remove_price(context.store(), packaging_id, price_id, packaging=True)
    flash("Price removed.")
    return _to_packaging(packaging_id)
