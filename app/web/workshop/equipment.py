"""Scales and packaging: their registers, and what else happens to them."""

from flask import flash, redirect, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.register_pages import RegisterPages
from app.web.workshop.area import blueprint
from app.work import equipment
from app.work.batches.pots import load_learned

RegisterPages(equipment.SCALES, "workshop", "scale", "scales").mount(blueprint, "/workshop/scales")
RegisterPages(equipment.VESSELS, "workshop", "vessel", "vessels", load_learned).mount(blueprint, "/workshop/vessels")
RegisterPages(equipment.PACKAGING, "workshop", "packaging", "packaging_list").mount(blueprint, "/workshop/packaging")


@blueprint.post("/workshop/scales/<int:scale_id>/remove")
def remove_scale(scale_id: int) -> Response:
    """Take a scale off the list."""
    name = equipment.SCALES.remove(context.store(), scale_id)
    flash(f"Removed {name}. Batches keep the name of the scale they were weighed on.")
    return redirect(url_for("workshop.scales"), 303)


@blueprint.post("/workshop/vessels/<int:vessel_id>/remove")
def remove_vessel(vessel_id: int) -> Response:
    """Take a vessel off the list."""
    name = equipment.VESSELS.remove(context.store(), vessel_id)
    flash(f"Removed {name}. Batches keep its name.")
    return redirect(url_for("workshop.vessels"), 303)


@blueprint.post("/workshop/packaging/<int:packaging_id>/<any(retire, 'bring-back'):action>")
def retire_packaging(packaging_id: int, action: str) -> Response:
    """Take packaging out of the choices, or put it back."""
    back = action == "bring-back"
    name = equipment.PACKAGING.retire(context.store(), packaging_id, back=back)
    flash(f"{name} is back." if back else f"Retired {name}. Formulas that use it keep it.")
    return redirect(url_for("workshop.packaging_list"), 303)
