"""Printed lists: paste one, see what it says, say what is known, correct it, teach a name."""

from collections.abc import Mapping

from flask import flash, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.reference.label_names import LabelNames
from app.science.errors import Invalid
from app.science.inference.infer import MOST_NAMES
from app.science.inference.wording import percent_words
from app.store.errors import Conflict
from app.web import context
from app.web.label_reading import photos, starting
from app.web.label_reading.area import Page, blueprint
from app.web.label_reading.drawing import place, strip, ticks
from app.web.label_reading.forms import statement, typed_values
from app.web.materials.forms import whole_number
from app.web.template_tools import workshop
from app.work.form import Faults
from app.work.label_reading import lists
from app.work.label_reading.cards import cards
from app.work.label_reading.choosing import own_shelf
from app.work.label_reading.estimate_formula import ask
from app.work.label_reading.lists import ListForm, OpenList, TeachForm
from app.work.label_reading.observations import MEASURES, ObservedForm
from app.work.label_reading.start_words import start_words
from app.work.label_reading.suggesting import suggestions

__all__ = ["blueprint", "photos", "starting"]


@blueprint.app_template_filter("per_cent")
def per_cent(value: float) -> str:
    """Write % w/w with three significant figures."""
    return percent_words(value)


@blueprint.get("")
def index() -> str:
    """List what was read, with the form for the next one."""
    return _index(ListForm(jurisdiction=workshop().jurisdiction.value), {})


def _index(typed: ListForm, faults: Mapping[str, str]) -> str:
    read, taught = lists.all_lists(context.store())
    return render_template(
        "label_reading/index.html", lists=read, taught=taught, typed=typed, faults=faults, most=MOST_NAMES
    )


@blueprint.post("")
def create() -> Page:
    """Keep a pasted list and open it."""
    typed = ListForm.sent(request.form)
    try:
        list_id = lists.start_list(context.store(), typed, request.form.get("form_key", ""))
    except Faults as wrong:
        return _index(typed, wrong.by_field), 422
    return redirect(url_for("label_reading.show", list_id=list_id), 303)


@blueprint.get("/<int:list_id>")
def show(list_id: int) -> Page:
    """Show a list worked out."""
    try:
        with context.store().reading() as session:
            current = lists.open_list(session, list_id)
    except (Invalid, Faults):
        return redirect(url_for("label_reading.edit", list_id=list_id))
    return _page(current, {}, {})


def _page(
    current: OpenList, values: Mapping[str, str], faults: Mapping[str, str], seen: ObservedForm | None = None
) -> str:
    with context.store().reading() as session:
        own = own_shelf(session)
    described = cards(current.sheet, own.materials)
    return render_template(
        "label_reading/show.html",
        cards=described,
        values=values,
        faults=faults,
        seen=ObservedForm.stored_as(current.sheet.constraints.observed) if seen is None else seen,
        measures=tuple(MEASURES),
        **_shown(current),
    )


def _shown(current: OpenList) -> dict[str, object]:
    marks = [strip(row.answer) for row in current.sheet.rows]
    return {
        "current": current,
        "sheet": current.sheet,
        "strips": marks,
        "ticks": ticks(),
        "line_place": place(1.0),
        "asked": ask(current.sheet),
        "cost": starting.cost_of(current.sheet),
        "start_words": start_words(current.sheet),
    }


@blueprint.post("/<int:list_id>/known")
def known(list_id: int) -> Page:
    """Take what is known of the names; everything follows from it."""
    live = request.headers.get("X-Live") == "1"
    typed = typed_values(request.form)
    try:
        current = lists.say_known(context.store(), list_id, typed)
    except Faults as wrong:
        if live:
            return jsonify(faults=wrong.by_field), 422
        with context.store().reading() as session:
            current = lists.open_list(session, list_id)
        return _page(current, typed, wrong.by_field), 422
    if live:
        return jsonify(parts=_parts(current))
    return redirect(url_for("label_reading.show", list_id=list_id, _anchor="working"), 303)


@blueprint.post("/<int:list_id>/observed")
def observe(list_id: int) -> Page:
    """Note what was seen and measured of the product."""
    typed = ObservedForm.posted(request.form)
    try:
        lists.say_observed(context.store(), list_id, typed)
    except Faults as wrong:
        with context.store().reading() as session:
            current = lists.open_list(session, list_id)
        return _page(current, {}, wrong.by_field, typed), 422
    return redirect(url_for("label_reading.show", list_id=list_id, _anchor="working"), 303)


def _parts(current: OpenList) -> dict[str, str]:
    """Return the pieces of the page that change with what is known, by the id of their element."""
    shown = _shown(current)
    found = {"line-words": current.sheet.line_words}
    found["clashes"] = render_template("label_reading/_clashes.html", **shown)
    found["start-words"] = render_template("label_reading/_start.html", **shown)
    found["asked"] = render_template("label_reading/_asked.html", **shown)
    for row in current.sheet.rows:
        values = {"row": row, "strip": strip(row.answer), "line_place": place(1.0), "sheet": current.sheet}
        for part in ("strip", "likely", "start", "band", "bounds"):
            found[f"{part}-{row.place}"] = render_template("label_reading/_cell.html", part=part, **values)
    return found


@blueprint.post("/<int:list_id>/give-up")
def give_up(list_id: int) -> Response:
    """Return up one statement."""
    lists.give_up(context.store(), list_id, *statement(request.form))
    return redirect(url_for("label_reading.show", list_id=list_id, _anchor="working"), 303)


@blueprint.post("/<int:list_id>/take-back")
def take_back(list_id: int) -> Response:
    """Let a rule hold again that was set aside."""
    lists.take_back(context.store(), list_id, *statement(request.form))
    return redirect(url_for("label_reading.show", list_id=list_id, _anchor="working"), 303)


@blueprint.post("/<int:list_id>/free")
def free(list_id: int) -> Response:
    """Forget everything that was said of the names."""
    lists.free_all(context.store(), list_id)
    flash("All fields are cleared.")
    return redirect(url_for("label_reading.show", list_id=list_id, _anchor="working"), 303)


@blueprint.get("/<int:list_id>/edit")
def edit(list_id: int) -> str:
    """Show the form to correct a list."""
    with context.store().reading() as session:
        row = lists.find_list(session, list_id)
    return _edit(list_id, ListForm.of(row), row.row_version, {})


def _edit(list_id: int, typed: ListForm, version: int, faults: Mapping[str, str], conflict: str = "") -> str:
    return render_template(
        "label_reading/edit.html", list_id=list_id, typed=typed, row_version=version, faults=faults, conflict=conflict
    )


@blueprint.post("/<int:list_id>/edit")
def revise(list_id: int) -> Page:
    """Write a corrected list."""
    typed, version = ListForm.sent(request.form), whole_number(request.form.get("row_version", ""))
    try:
        lists.revise_list(context.store(), list_id, typed, version)
    except Faults as wrong:
        return _edit(list_id, typed, version, wrong.by_field), 422
    except Conflict as late:
        with context.store().reading() as session:
            newest = lists.find_list(session, list_id).row_version
        return _edit(list_id, typed, newest, {}, str(late)), 409
    return redirect(url_for("label_reading.show", list_id=list_id), 303)


@blueprint.post("/<int:list_id>/delete")
def delete(list_id: int) -> Response:
    """Delete a list."""
    flash(f"Deleted {lists.delete_list(context.store(), list_id)}. Formulas that were started from it stay.")
    return redirect(url_for("label_reading.index"), 303)


@blueprint.get("/<int:list_id>/teach")
def teach_page(list_id: int) -> str:
    """Ask what a printed name means."""
    return _teach(list_id, TeachForm.sent(request.args), {})


def _teach(list_id: int, form: TeachForm, faults: Mapping[str, str]) -> str:
    printed = form.text["printed"][:200]
    with context.store().reading() as session:
        title = lists.find_list(session, list_id).title
    return render_template(
        "label_reading/teach.html",
        list_id=list_id,
        title=title,
        printed=printed,
        form=form,
        faults=faults,
        found=LabelNames().find(printed),
        suggestions=suggestions(printed),
    )


@blueprint.post("/<int:list_id>/teach")
def teach(list_id: int) -> Page:
    """Note what a printed name means."""
    form = TeachForm.sent(request.form)
    if not form.text["meaning"].strip():
        form = form.but(meaning=request.form.get("choice", ""))
    try:
        lists.teach(context.store(), form)
    except Faults as wrong:
        return _teach(list_id, form, wrong.by_field), 422
    flash(f"{form.printed} is read as {form.meaning} from now on.")
    return redirect(url_for("label_reading.show", list_id=list_id), 303)


@blueprint.post("/forget")
def forget() -> Response:
    """Take back what a name was taught to mean."""
    lists.forget(context.store(), request.form.get("printed_key", ""))
    flash("Forgotten. Later readings do without it.")
    return redirect(url_for("label_reading.index"), 303)
