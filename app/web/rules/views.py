"""The tables of rules: what there is, how old it is, and every row with its source."""

from flask import render_template, request

from app.store.errors import NotFound
from app.web import context
from app.web.paging import asked_page
from app.web.rules import checks, memory
from app.web.rules.area import Page, blueprint
from app.work.clock import today
from app.work.rules.corrections import read_corrections
from app.work.rules.coverage import gaps
from app.work.rules.tables import find_table, overview, rows_of, tables

__all__ = ["blueprint", "checks", "memory"]
LONGEST_QUERY = 200


@blueprint.get("/rules")
def index() -> Page:
    """Show what tables of rules there are, with their dates and counts."""
    with context.store().reading() as session:
        own = read_corrections(session)
    overviews = [overview(table, own, today()) for table in tables()]
    return render_template("rules/index.html", overviews=overviews, gaps=gaps(), own=own)


@blueprint.get("/rules/<path:path>")
def table(path: str) -> Page:
    """Show one table of rules, or the rows that fit a search."""
    found = find_table(path)
    if found is None:
        raise NotFound("There is no table of rules at that address.")
    words, status = request.args.get("q", "")[:LONGEST_QUERY], request.args.get("status", "")
    with context.store().reading() as session:
        own = read_corrections(session)
    seen = overview(found, own, today())
    rows = rows_of(found, own, words, status)
    asked = {"q": words or None, "status": status or None}
    return render_template("rules/table.html", one=seen, page=asked_page(rows), asked=asked)
