"""Scales and packaging: lists, forms, and what happens to them."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.store.errors import Conflict
from app.web import context
from app.web.materials.forms import by_field
from app.web.workshop.area import blueprint
from app.web.workshop.forms import typed_packaging, typed_scale
from app.work import bench_gear as gear
from app.work.typed import Faults, differences, fingerprint

FRESH = {"faults": {}, "differences": (), "seen": ""}


def _back(page: str) -> Response:
    return redirect(url_for(f"workshop.{page}"), 303)


def _scales(typed: gear.TypedScale, **more: object) -> str:
    return render_template(
        "workshop/scales.html",
        **{**FRESH, **more},
        labels=gear.SCALE_LABELS,
        typed=typed,
        scales=gear.list_scales(context.store()),
    )


@blueprint.get("/workshop/scales")
def scales() -> str:
    """List the scales, with a form for one more."""
    return _scales(gear.TypedScale())


@blueprint.post("/workshop/scales")
def add_scale() -> Response | tuple[str, int]:
    """Note a scale."""
    typed = typed_scale(request.form)
    try:
        gear.add_scale(context.store(), typed, request.form.get("key", ""))
    except Faults as wrong:
        return _scales(typed, faults=by_field(wrong.faults)), 422
    flash("Scale noted.")
    return _back("scales")


def _scale_form(scale_id: int, typed: gear.TypedScale | None = None, **more: object) -> str:
    stored = gear.scale_as_typed(gear.load_scale(context.store(), scale_id))
    given = {**FRESH, "seen": fingerprint(stored), **more}
    return render_template(
        "workshop/scale.html", **given, labels=gear.SCALE_LABELS, typed=typed or stored, scale_id=scale_id
    )


@blueprint.get("/workshop/scales/<int:scale_id>")
def edit_scale(scale_id: int) -> str:
    """Offer a scale to be changed."""
    return _scale_form(scale_id)


@blueprint.post("/workshop/scales/<int:scale_id>")
def save_scale(scale_id: int) -> Response | tuple[str, int]:
    """Write what was changed in a scale."""
    typed, seen = typed_scale(request.form), request.form.get("seen", "")
    try:
        gear.revise_scale(context.store(), scale_id, typed, seen)
    except Faults as wrong:
        return _scale_form(scale_id, typed, faults=by_field(wrong.faults), seen=seen), 422
    except Conflict:
        stored = gear.scale_as_typed(gear.load_scale(context.store(), scale_id))
        differing = differences(typed, stored, gear.SCALE_LABELS)
        if differing:
            return _scale_form(scale_id, typed, differences=differing), 409
    flash("Scale saved.")
    return _back("scales")


@blueprint.post("/workshop/scales/<int:scale_id>/remove")
def remove_scale(scale_id: int) -> Response:
    """Take a scale off the list."""
    name = gear.remove_scale(context.store(), scale_id)
    flash(f"Removed {name}. Batches keep the name of the scale they were weighed on.")
    return _back("scales")


def _packaging(typed: gear.TypedPackaging, **more: object) -> str:
    pieces = gear.list_packaging(context.store())
    return render_template(
        "workshop/packaging.html", **{**FRESH, **more}, labels=gear.PACKAGING_LABELS, typed=typed, pieces=pieces
    )


@blueprint.get("/workshop/packaging")
def packaging() -> str:
    """List the packaging, with a form for one more."""
    return _packaging(gear.TypedPackaging())


@blueprint.post("/workshop/packaging")
def add_packaging() -> Response | tuple[str, int]:
    """Note a piece of packaging."""
    typed = typed_packaging(request.form)
    try:
        gear.add_packaging(context.store(), typed, request.form.get("key", ""))
    except Faults as wrong:
        return _packaging(typed, faults=by_field(wrong.faults)), 422
    flash("Packaging noted.")
    return _back("packaging")


def _piece_form(packaging_id: int, typed: gear.TypedPackaging | None = None, **more: object) -> str:
    stored = gear.packaging_as_typed(gear.load_packaging(context.store(), packaging_id))
    given = {**FRESH, "seen": fingerprint(stored), **more}
    return render_template(
        "workshop/piece.html", **given, labels=gear.PACKAGING_LABELS, typed=typed or stored, packaging_id=packaging_id
    )


@blueprint.get("/workshop/packaging/<int:packaging_id>")
def edit_packaging(packaging_id: int) -> str:
    """Offer a piece of packaging to be changed."""
    return _piece_form(packaging_id)


@blueprint.post("/workshop/packaging/<int:packaging_id>")
def save_packaging(packaging_id: int) -> Response | tuple[str, int]:
    """Write what was changed in a piece of packaging."""
    typed, seen = typed_packaging(request.form), request.form.get("seen", "")
    try:
        gear.revise_packaging(context.store(), packaging_id, typed, seen)
    except Faults as wrong:
        return _piece_form(packaging_id, typed, faults=by_field(wrong.faults), seen=seen), 422
    except Conflict:
        stored = gear.packaging_as_typed(gear.load_packaging(context.store(), packaging_id))
        differing = differences(typed, stored, gear.PACKAGING_LABELS)
        if differing:
            return _piece_form(packaging_id, typed, differences=differing), 409
    flash("Packaging saved.")
    return _back("packaging")


@blueprint.post("/workshop/packaging/<int:packaging_id>/<any(retire, 'bring-back'):deed>")
def retire_packaging(packaging_id: int, deed: str) -> Response:
    """Take packaging out of the choices, or put it back."""
    back = deed == "bring-back"
    name = gear.retire_packaging(context.store(), packaging_id, back=back)
    flash(f"{name} is back." if back else f"Retired {name}. Formulas that use it keep it.")
    return _back("packaging")
