"""The form of a material: new, from the library, as a copy, or changed; with its composition summed as it is typed."""

from dataclasses import replace

from flask import flash, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.reference.materials import material as library_material
from app.science.composition import Kind
from app.store.errors import Conflict, NotFound
from app.store.materials import Material, PhaseHint
from app.web import context
from app.web.materials.area import blueprint
from app.web.materials.forms import after_deed, by_field, typed_material, whole_number, with_spare_rows
from app.work.materials import shelf
from app.work.materials.composition import cas_remark, sum_of
from app.work.materials.names import cas_of, names_like
from app.work.materials.reading import FORMS
from app.work.materials.typed_material import LABELS, TypedMaterial, changes, from_library, from_shelf
from app.work.typed import Difference, Faults

SAVE = "save"
FIRST_ROWS = 2


def _form(typed: TypedMaterial, heading: str, **more: object) -> str:
    """Render the form with everything as it was typed."""
    given = {"faults": {}, "differences": (), "row_version": 0, "material_id": None, "key": ""}
    return render_template(
        "materials/edit.html",
        **{**given, **more},
        typed=typed,
        heading=heading,
        sum=sum_of(typed.parts),
        cas_remarks=[cas_remark(row.cas.strip()) for row in typed.parts],
        kinds=[kind.value for kind in Kind],
        phases=[hint.value for hint in PhaseHint],
        forms=FORMS,
        labels=LABELS,
    )


@blueprint.get("/materials/new")
def new() -> str:
    """Offer an empty form, or one filled from a material of the shelf or of the library."""
    typed = _start(request.args.get("copy", ""), request.args.get("library", ""))
    return _form(with_spare_rows(typed, 1 if typed.parts else FIRST_ROWS), "New material")


def _start(copied: str, library_key: str) -> TypedMaterial:
    if copied:
        original = from_shelf(shelf.load_material(context.store(), whole_number(copied)))
        return replace(original, name=f"{original.name} (copy)")
    shipped = library_material(library_key) if library_key else None
    if library_key and shipped is None:
        raise NotFound("The library has no such material.")
    return from_library(shipped) if shipped else TypedMaterial()


def form_from_library(library_key: str, wrong: Faults) -> str:
    """Offer the form of a shipped material whose name is taken."""
    return _form(_start("", library_key), "New material", faults=by_field(wrong.faults))


@blueprint.post("/materials/new")
def create() -> Response | str | tuple[str, int]:
    """Put a new material on the shelf."""
    typed, key, deed = typed_material(request.form), request.form.get("key", ""), request.form.get("deed", SAVE)
    if deed != SAVE:
        return _form(after_deed(typed, deed, request.form.get("pasted", "")), "New material", key=key)
    try:
        material_id = shelf.add_material(context.store(), typed, key)
    except Faults as wrong:
        return _form(with_spare_rows(typed, 0), "New material", faults=by_field(wrong.faults), key=key), 422
    flash("Saved.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


@blueprint.get("/materials/<int:material_id>/edit")
def edit(material_id: int) -> str:
    """Offer the form of a material as it is."""
    material = shelf.load_material(context.store(), material_id)
    typed = with_spare_rows(from_shelf(material))
    return _form(typed, f"Edit {material.name}", row_version=material.row_version, material_id=material_id)


@blueprint.post("/materials/<int:material_id>/edit")
def save(material_id: int) -> Response | str | tuple[str, int]:
    """Write what was changed in a material."""
    typed, deed = typed_material(request.form), request.form.get("deed", SAVE)
    row_version = whole_number(request.form.get("row_version", ""))
    same = {"material_id": material_id, "row_version": row_version}
    if deed != SAVE:
        return _form(after_deed(typed, deed, request.form.get("pasted", "")), "Edit this material", **same)
    try:
        shelf.revise_material(context.store(), material_id, typed, row_version)
    except Faults as wrong:
        return _form(typed, "Edit this material", faults=by_field(wrong.faults), **same), 422
    except Conflict:
        stored = shelf.load_material(context.store(), material_id)
        differing = changes(typed, from_shelf(stored))
        if differing:
            return _both(stored, typed, differing), 409
    flash("Saved.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


def _both(stored: Material, mine: TypedMaterial, differing: tuple[Difference, ...]) -> str:
    """Show what was typed beside what is stored by now; saving again takes what was typed."""
    return _form(
        mine,
        f"Edit {stored.name}",
        differences=differing,
        row_version=stored.row_version,
        material_id=stored.id,
    )


@blueprint.post("/materials/composition")
def composition() -> Response:
    """Add the rows up as they are typed; writes nothing."""
    typed = typed_material(request.form)
    added = sum_of(typed.parts)
    return jsonify(
        html=render_template("materials/_sum.html", sum=added),
        counted=[None if value is None else format(value.normalize(), "f") for value in added.counted],
        remarks=[cas_remark(row.cas.strip()) for row in typed.parts],
    )


@blueprint.get("/materials/inci")
def inci() -> Response:
    """Suggest INCI names that hold what was typed, each with its CAS number."""
    return jsonify([{"name": name, "cas": cas_of(name)} for name in names_like(request.args.get("q", "")[:200])])
