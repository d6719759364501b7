"""The form of a material: new, from the library, as a copy, or changed; with its composition summed as it is typed."""

from flask import flash, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.reference.materials import material as library_material
from app.store.errors import NotFound
from app.web import context
from app.web.materials.area import blueprint
from app.web.materials.forms import whole_number, with_spare_rows, without_saving
from app.work.form import Faults, Overtaken
from app.work.materials import shelf
from app.work.materials.composition import cas_remark, sum_of
from app.work.materials.inci_choices import cas_of, names_like
from app.work.materials.material_form import MaterialForm, PartForm, from_library

SAVE = "save"
FIRST_ROWS = 2


def _page(form: MaterialForm, heading: str, **more: object) -> str:
    """Return the page of the form with everything as it was typed."""
    given = {"faults": {}, "differences": (), "row_version": 0, "material_id": None, "key": ""}
    return render_template(
        "materials/edit.html",
        **{**given, **more},
        form=form,
        heading=heading,
        sum=sum_of(form),
        empty_row=PartForm().at_place("part-__PLACE__-", 1),
        cas_remarks=_cas_remarks(form),
    )


def _cas_remarks(form: MaterialForm) -> list[str]:
    return [cas_remark(row.text["cas"].strip()) for row in form.text["parts"]]


@blueprint.get("/materials/new")
def new() -> str:
    """Offer an empty form, or one filled from a material of the shelf or of the library."""
    form = _start(request.args.get("copy", ""), request.args.get("library", ""))
    return _page(with_spare_rows(form, 1 if form.text["parts"] else FIRST_ROWS), "New material")


def _start(copied: str, library_key: str) -> MaterialForm:
    if copied:
        original = MaterialForm.of(shelf.load_material(context.store(), whole_number(copied)))
        return original.but(name=f"{original.text['name']} (copy)")
    shipped = library_material(library_key) if library_key else None
    if library_key and shipped is None:
        raise NotFound("The library has no such material.")
    return from_library(shipped) if shipped else MaterialForm()


def form_from_library(library_key: str, wrong: Faults) -> str:
    """Return the form of a shipped material whose name is taken."""
    return _page(_start("", library_key), "New material", faults=wrong.by_field)


@blueprint.post("/materials/new")
def create() -> Response | str | tuple[str, int]:
    """Put a new material on the shelf."""
    form, key, button = MaterialForm.sent(request.form), request.form.get("key", ""), _button()
    if button != SAVE:
        return _page(without_saving(form, button, request.form.get("pasted", "")), "New material", key=key)
    try:
        material_id = shelf.add_material(context.store(), form, key)
    except Faults as wrong:
        return _page(form, "New material", faults=wrong.by_field, key=key), 422
    flash("Saved.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


def _button() -> str:
    return request.form.get("action", SAVE)


@blueprint.get("/materials/<int:material_id>/edit")
def edit(material_id: int) -> str:
    """Offer the form of a material as it is."""
    material = shelf.load_material(context.store(), material_id)
    form = with_spare_rows(MaterialForm.of(material))
    return _page(form, f"Edit {material.name}", row_version=material.row_version, material_id=material_id)


@blueprint.post("/materials/<int:material_id>/edit")
def save(material_id: int) -> Response | str | tuple[str, int]:
    """Write what was changed in a material; what somebody else saved meanwhile is shown beside it."""
    form, button = MaterialForm.sent(request.form), _button()
    row_version = whole_number(request.form.get("row_version", ""))
    same = {"material_id": material_id, "row_version": row_version}
    if button != SAVE:
        return _page(without_saving(form, button, request.form.get("pasted", "")), "Edit this material", **same)
    try:
        shelf.revise_material(context.store(), material_id, form, row_version)
    except Faults as wrong:
        return _page(form, "Edit this material", faults=wrong.by_field, **same), 422
    except Overtaken as wrong:
        now = {"material_id": material_id, "row_version": wrong.mark, "differences": wrong.differences}
        return _page(form, "Edit this material", **now), 409
    flash("Saved.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


@blueprint.post("/materials/composition")
def composition() -> Response:
    """Add the rows up as they are typed; writes nothing."""
    form = MaterialForm.sent(request.form)
    added = sum_of(form)
    return jsonify(
        html=render_template("materials/_sum.html", sum=added),
        counted=[None if value is None else format(value.normalize(), "f") for value in added.counted],
        remarks=_cas_remarks(form),
    )


@blueprint.get("/materials/inci")
def inci() -> Response:
    """Suggest INCI names that hold what was typed, each with its CAS number."""
    return jsonify([{"name": name, "cas": cas_of(name)} for name in names_like(request.args.get("q", "")[:200])])
