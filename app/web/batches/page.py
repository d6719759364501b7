"""The page of a batch, and what its forms share: an action done, and back to the page, with what is wrong if it is."""

from collections.abc import Callable

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.science.errors import Invalid
from app.store.errors import Conflict
from app.web import context
from app.web.row_number import number
from app.web.template_tools import workshop
from app.work.batches.as_made import as_made
from app.work.batches.batch_readings import kinds_of, yield_percent
from app.work.batches.deciding import what_is_open
from app.work.batches.deviations import lines_without_lot, out_of_plan
from app.work.batches.heating import heating_of
from app.work.batches.history import actions
from app.work.batches.loading import load_batch
from app.work.batches.rescuing import offered_rescue
from app.work.batches.sections import links, shown
from app.work.form import Faults

Page = str | Response | tuple[str, int]


def batch_page(batch_id: int, faults: dict[str, str] | None = None, typed: dict[str, str] | None = None) -> str:
    """Render the page of a batch, with what is wrong at its fields and everything that was typed."""
    with context.store().reading() as session:
        batch = load_batch(session, batch_id)
        sections = shown(session, batch)
        deviations = out_of_plan(session, batch)
        made = as_made(session, batch)
        rescue = offered_rescue(session, batch)
        heating = heating_of(session, batch)
    open_points = [] if batch.is_decided else what_is_open(deviations, made.open if made else ())
    return render_template(
        "batches/show.html",
        batch=batch,
        closed=batch.is_decided,
        history=actions(batch.history),
        open_points=open_points,
        deviations=deviations,
        without_lot=lines_without_lot(deviations),
        made=made,
        rescue=rescue,
        heating=heating,
        two_people=workshop().two_people,
        yield_percent=yield_percent(batch),
        sections=sections,
        links=links(batch),
        styles=dict.fromkeys(sheet for one in sections for sheet in one.section.styles),
        kinds=kinds_of(batch),
        faults=faults or {},
        typed=typed or {},
        again=request.endpoint.rpartition(".")[2] if request.endpoint else "",
    )


Act = Callable[[], object]


def done(batch_id: int, act: Act, anchor: str, *, prefix: str = "", words: str = "") -> Page:
    """Do an action and go back to the record; what is wrong comes back beside what was typed."""
    context.remember_person(typed_in("who"))
    try:
        act()
    except Faults as error:
        return again(batch_id, {f"{prefix}{fault.field}": fault.message for fault in error.faults}, 422)
    except Invalid as error:
        return again(batch_id, {f"{prefix}{error.field}": error.message}, 422)
    except Conflict as error:
        return again(batch_id, {anchor: f"{error} It is not saved. You typed: {_all_typed()}."}, 409)
    if words:
        flash(words)
    return redirect(url_for("batches.show", batch_id=batch_id, _anchor=anchor), 303)


def typed_in(name: str) -> str:
    """Return what was typed into a field, empty where it was not sent."""
    return request.form.get(name, "")


def _all_typed() -> str:
    """Return what a form held that finds no field on the page any more, so that nothing typed is lost."""
    typed = {name: text for name, text in request.form.items() if name not in {"key", "row_version", "state"}}
    return "; ".join(f"{name} {text.strip()}" for name, text in typed.items() if text.strip()) or "nothing"


def row_version() -> int:
    """Return which state of the record the form was filled in on; -1 where it does not say."""
    found = number(typed_in("row_version"))
    return -1 if found is None else found


def again(batch_id: int, faults: dict[str, str], status: int) -> Page:
    """Render the page once more with what is wrong and what was typed."""
    return batch_page(batch_id, faults, request.form.to_dict()), status
