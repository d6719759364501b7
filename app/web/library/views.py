"""The pages of the shipped library."""

from collections.abc import Sequence
from itertools import groupby

from flask import Blueprint, Response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answer

from app.reference.material import LibraryMaterial
from app.reference.materials import left_out, library_materials, material
from app.reference.provenance import Provenance, from_memory
from app.store.errors import NotFound
from app.web import context
from app.work.csv_text import write_table
from app.work.materials.composition import width_text
from app.work.materials.material_search import SearchedFor, search_library
from app.work.materials.shelf import on_shelf
from app.work.rules.own_values import memory_about

blueprint = Blueprint("library", __name__)

MEMORY_COLUMNS = ("table", "row", "column", "value", "source")
NO_GROUP = "mixtures and others"


@blueprint.get("/library")
def index() -> str:
    """Show the shipped materials by group, or those that fit a search."""
    words = request.args.get("q", "")
    found = search_library(SearchedFor(words=words))[0] if words.strip() else []
    return render_template(
        "library/index.html", words=words, found=found, groups=_groups(), size=len(library_materials())
    )


def _groups() -> list[tuple[str, list[LibraryMaterial]]]:
    def group(one: LibraryMaterial) -> str:
        return one.group or NO_GROUP

    ordered = sorted(library_materials(), key=lambda one: (group(one), one.name.casefold()))
    return [(name, list(rows)) for name, rows in groupby(ordered, key=group)]


@blueprint.get("/library/<key>")
def show(key: str) -> str:
    """Show one shipped material, each value with its source."""
    found = material(key)
    if found is None:
        raise NotFound("The library has no such material.")
    with context.store().reading() as session:
        memory = memory_about(session, found)
    # The sources of both ends of a range, once when they are the same.
    pairs = {"use": ("use_low", "use_high"), "pH": ("ph_min", "ph_max")}
    return render_template(
        "library/show.html",
        one=found,
        memory=memory,
        on_shelf=on_shelf(context.store(), key),
        width_text=width_text,
        ranges={label: _told(found, names) for label, names in pairs.items()},
    )


def _told(found: LibraryMaterial, names: Sequence[str]) -> list[tuple[str, Provenance]]:
    given = [found.sources[name] for name in names if name in found.sources]
    if len(set(given)) <= 1:
        return [("", source) for source in given[:1]]
    return [("lower end: ", given[0]), ("upper end: ", given[1])]


@blueprint.get("/library/from-memory")
def memory() -> Answer:
    """Lead to the one page of the values from memory, where they can be corrected too."""
    return redirect(url_for("rules.memory_index", table=request.args.get("table") or None), 301)


@blueprint.get("/library/from-memory.csv")
def memory_file() -> Response:
    """Return the list as a file, guarded against being run as formulas."""
    table = request.args.get("table", "")
    values = (value for value in from_memory() if table in ("", value.table))
    rows = ({"table": v.table, "row": v.key, "column": v.column, "value": v.value, "source": v.source} for v in values)
    answer = Response("\ufeff" + write_table(MEMORY_COLUMNS, rows), mimetype="text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="values-from-memory.csv"'
    return answer


@blueprint.get("/library/left-out")
def left_out_page() -> str:
    """List the rows of the shipped tables that did not become a material of their own, with the reason."""
    return render_template("library/left_out.html", rows=left_out())
