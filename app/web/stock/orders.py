"""What to buy, and orders: made, received, ended."""

from collections.abc import Mapping

from flask import Response as Answer
from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.store.errors import Conflict
from app.web import context
from app.web.materials.forms import whole_number
from app.web.stock.area import blueprint
from app.work.clock import today
from app.work.form import Faults
from app.work.stock import listing, orders, shopping
from app.work.stock.suppliers import all_suppliers

Page = Response | str | tuple[str, int]
MORE_LINES = 4


@blueprint.get("/stock/to-buy")
def to_buy() -> str:
    """Show what is short."""
    found = shopping.load_to_buy(context.store())
    return render_template("stock/to_buy.html", found=found, total=sum((one.cost for one in found if one.cost), 0))


@blueprint.get("/stock/to-buy.csv")
def to_buy_file() -> Answer:
    """Return what is short as a file."""
    answer = Answer("\ufeff" + shopping.export_to_buy(context.store()), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="to-buy-{today().isoformat()}.csv"'
    return answer


@blueprint.get("/stock/orders")
def order_list() -> str:
    """List the orders."""
    with context.store().reading() as session:
        return render_template("stock/orders.html", orders=orders.all_orders(session))


@blueprint.get("/stock/orders/new")
def new_order() -> str:
    """Show the form of an order, filled with what is short of one supplier."""
    supplier = request.args.get("supplier", "")[:200]
    # An empty order needs nothing of what is short, and that takes long to add up.
    short = shopping.load_to_buy(context.store()) if "supplier" in request.args else ()
    items = [(one.row.name, f"{one.amount:f} {one.row.unit}", one.cost) for one in short if one.supplier == supplier]
    return _order_page(orders.order_from_shortage(items, supplier, context.person()), {})


def _order_page(form: orders.OrderForm, faults: Mapping[str, str]) -> str:
    rows = (*form.text["lines"], *(orders.OrderLineForm() for _ in range(MORE_LINES)))
    with context.store().reading() as session:
        names = [one.name for one in all_suppliers(session) if one.retired_at is None]
        items = listing.names_to_offer(session)
    return render_template(
        "stock/new_order.html", form=form.but(lines=rows), faults=faults, suppliers=names, items=items
    )


@blueprint.post("/stock/orders/new")
def place_order() -> Page:
    """Write an order."""
    form = orders.OrderForm.sent(request.form)
    context.remember_person(form.text["made_by"])
    try:
        order_id = orders.place_order(context.store(), form, key=request.form.get("key", ""))
    except Faults as wrong:
        return _order_page(form, wrong.by_field), 422
    flash("Order saved.")
    return redirect(url_for("stock.order", order_id=order_id), 303)


@blueprint.get("/stock/orders/<int:order_id>")
def order(order_id: int) -> str:
    """Show one order, with the form of its delivery while it is open."""
    return _show(order_id, None, {})


def _show(order_id: int, form: orders.DeliveryForm | None, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = orders.get_order(session, order_id)
        return render_template(
            "stock/order.html",
            order=found,
            names={str(line.id): line.name for line in found.lines},
            form=form or orders.DeliveryForm.of_order(found, context.person()),
            faults=faults,
        )


@blueprint.post("/stock/orders/<int:order_id>/receive")
def receive_order(order_id: int) -> Page:
    """Receive what came of an order: lots and prices at once."""
    form = orders.DeliveryForm.sent(request.form)
    context.remember_person(form.text["by"])
    row_version = whole_number(request.form.get("row_version", ""))
    try:
        count = orders.receive_order(context.store(), order_id, form, row_version, key=request.form.get("key", ""))
    except Faults as wrong:
        return _show(order_id, form, wrong.by_field), 422
    except Conflict as wrong:
        return _show(order_id, form, {"by": f"{wrong} Check what is still open, then save again."}), 409
    flash(f"{count} {'lot' if count == 1 else 'lots'} received.")
    return redirect(url_for("stock.order", order_id=order_id), 303)


@blueprint.post("/stock/orders/<int:order_id>/close")
def close_order(order_id: int) -> Response:
    """End an order."""
    flash(f"Order {orders.close_order(context.store(), order_id)} is closed.")
    return redirect(url_for("stock.order", order_id=order_id), 303)
