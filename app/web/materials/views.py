"""The list of materials and the page of one of them."""

from urllib.parse import urlencode

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.reference.materials import library_materials
from app.store.errors import Conflict
from app.store.materials import PhaseHint, newest_price
from app.web import context
from app.web.materials import editing, prices, transfer
from app.web.materials.area import blueprint
from app.web.materials.forms import wanted
from app.web.materials.page import render_page
from app.web.paging import asked_number, counted_page
from app.work.form import Faults
from app.work.materials import shelf
from app.work.materials.material_search import MOST_LIBRARY, PAGE, SearchedFor, find, functions_known

__all__ = ["blueprint", "editing", "prices", "transfer"]


@blueprint.get("/materials")
def index() -> str:
    """Show the shelf, searched and filtered, with what the library has beside it."""
    return render_template("materials/index.html", **_listing(), functions=functions_known(context.store()))


@blueprint.get("/materials/results")
def results() -> str:
    """Show only the results, for a search as it is typed."""
    return render_template("materials/_results.html", **_listing())


def _listing() -> dict[str, object]:
    asked = wanted(request.args)
    found = find(context.store(), asked, asked_number())
    count = f"{found.shelf_count:,} on your shelf"
    # The filters that are set, each with the address of the list without it.
    set_now = [
        (f"function: {asked.function}", "function", asked.function),
        (f"phase: {asked.phase}", "phase", asked.phase),
        ("retired only" if asked.state == "retired" else "retired too", "state", asked.state != "in use"),
    ]
    return {
        "asked": asked,
        "found": found,
        "chips": [(words, _address(asked, **{name: ""})) for words, name, is_set in set_now if is_set],
        "count": f"{count}, {found.library_count:,} more in the library" if asked.filtered else count,
        "phases": [hint.value for hint in PhaseHint],
        "newest_price": newest_price,
        "library_size": len(library_materials()),
        "most_library": MOST_LIBRARY,
        "page": counted_page(found.materials, found.page, found.shelf_count, url_for("materials.index"), PAGE),
    }


def _address(asked: SearchedFor, **changed: str) -> str:
    """Write the address of the list with some filters changed; an empty one is left out."""
    state = asked.state if asked.state != "in use" else ""
    values = {"q": asked.words[:200], "function": asked.function, "phase": asked.phase, "state": state, **changed}
    query = urlencode({name: value for name, value in values.items() if value})
    return f"{url_for('materials.index')}?{query}" if query else url_for("materials.index")


@blueprint.get("/materials/<int:material_id>")
def show(material_id: int) -> str:
    """Show one material: what is in it, what it costs, what uses it, where the values come from."""
    return render_page(shelf.load_material(context.store(), material_id))


@blueprint.post("/materials/shelf/<library_key>")
def put_on_shelf(library_key: str) -> Response | tuple[str, int]:
    """Take a shipped material as one's own."""
    try:
        material_id = shelf.put_on_shelf(context.store(), library_key, request.form.get("key", ""))
    except Faults as wrong:
        return editing.form_from_library(library_key, wrong), 422
    flash("It is on your shelf now. Compare its figures with the data sheet of what you bought.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


@blueprint.post("/materials/<int:material_id>/retire")
def retire(material_id: int) -> Response:
    """Take a material out of lists and suggestions."""
    shelf.retire(context.store(), material_id)
    flash("Retired. Formulas and batches keep it; bring it back whenever you like.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


@blueprint.post("/materials/<int:material_id>/bring-back")
def bring_back(material_id: int) -> Response | tuple[str, int]:
    """Put a retired material back on the shelf."""
    try:
        shelf.bring_back(context.store(), material_id)
    except Faults as wrong:
        raise Conflict(wrong.faults[0].message) from wrong
    flash("Back on the shelf.")
    return redirect(url_for("materials.show", material_id=material_id), 303)


@blueprint.get("/materials/<int:material_id>/delete")
def confirm_delete(material_id: int) -> str:
    """Say what depends on a material before it is deleted."""
    store = context.store()
    return render_template(
        "materials/delete.html",
        material=shelf.load_material(store, material_id),
        use=shelf.load_use(store, material_id),
    )


@blueprint.post("/materials/<int:material_id>/delete")
def delete(material_id: int) -> Response | tuple[str, int]:
    """Delete a material that nothing uses."""
    try:
        name = shelf.delete_unused(context.store(), material_id)
    except Conflict:
        return confirm_delete(material_id), 409
    flash(f"Deleted {name}.")
    return redirect(url_for("materials.index"), 303)
