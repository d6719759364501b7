"""Values that rest on memory: found, and put right by the maker."""

from collections import Counter
from collections.abc import Mapping

from flask import flash, redirect, render_template, request, url_for

from app.reference.provenance import MemoryValue, from_memory
from app.web import context
from app.web.paging import asked_page
from app.web.rules.area import Page, blueprint
from app.work.form import Faults
from app.work.rules.book import counts_in_checks
from app.work.rules.corrections import (
    Correction,
    Place,
    choices_of,
    correct,
    find_value,
    is_number,
    read_corrections,
    take_back,
)
from app.work.rules.own_values import ABOUT_MATERIALS, FIELDS

TYPED = ("value", "source", "who")
LONGEST_QUERY = 200


@blueprint.get("/rules/from-memory")
def memory_index() -> Page:
    """List the values that rest on memory, and those that were put right."""
    table, words = request.args.get("table", ""), request.args.get("q", "")[:LONGEST_QUERY]
    wanted = words.casefold().split()
    values = []
    for one in (value for value in from_memory() if table in ("", value.table)):
        text = f"{one.table} {one.key} {one.column} {one.value} {one.source}".casefold()
        if all(word in text for word in wanted):
            values.append(one)
    return render_template(
        "rules/from_memory.html",
        page=asked_page(values),
        tables=sorted(Counter(value.table for value in from_memory()).items()),
        own=_own(),
        counts=counts_in_checks,
        asked={"table": table, "q": words},
    )


def _own() -> dict[Place, Correction]:
    with context.store().reading() as session:
        return {one.place: one for one in read_corrections(session)}


def _place(values: Mapping[str, str]) -> Place:
    return values.get("table", ""), values.get("row", ""), values.get("column", "")


@blueprint.get("/rules/from-memory/value")
def memory_value() -> Page:
    """Show the form that puts one value right."""
    place = _place(request.args)
    shipped, own = find_value(place), _own().get(place)
    typed = {"value": own.value if own else "", "source": own.source if own else "", "who": context.person()}
    return _value_page(shipped, own, typed, {})


def _value_page(
    shipped: MemoryValue, own: Correction | None, typed: Mapping[str, str], faults: Mapping[str, str]
) -> str:
    # What follows a value that is put right.
    if counts_in_checks(shipped.table, shipped.column):
        follows = "The checks follow your value from then on."
    elif shipped.table in ABOUT_MATERIALS and shipped.column in FIELDS:
        follows = "A material that is put on the shelf from then on starts with your value."
    else:
        follows = "It is kept and shown beside the shipped value; no computation follows it."
    return render_template(
        "rules/value.html",
        one=shipped,
        own=own,
        typed=typed,
        faults=faults,
        choices=choices_of(shipped),
        is_number=is_number(shipped),
        follows=follows,
    )


@blueprint.post("/rules/from-memory/value")
def put_value_right() -> Page:
    """Write the maker's value down, or let the shipped one count again."""
    place = _place(request.form)
    if request.form.get("do") == "take-back":
        take_back(context.store(), place)
        flash("The shipped value counts again.")
        return redirect(url_for("rules.memory_index", table=place[0]), 303)
    typed = {field: request.form.get(field, "") for field in TYPED}
    try:
        correct(context.store(), place, *typed.values())
    except Faults as error:
        faults = {fault.field: fault.message for fault in error.faults}
        return _value_page(find_value(place), _own().get(place), typed, faults), 422
    context.remember_person(typed["who"])
    flash("Corrected. Your value stays, whatever later versions ship.")
    return redirect(url_for("rules.memory_index", table=place[0], _anchor="own"), 303)
