"""From a code to its trace, and the trace of a lot, a batch or a receiver as page, PDF and CSV."""

import re
from collections.abc import Callable
from typing import Any

from flask import redirect, render_template, request, url_for

from app.documents.papers import pdf_named
from app.documents.render import PaperFault
from app.web import context
from app.web.papers.views import setting
from app.web.tracing import cases, recalls, sending
from app.web.tracing.area import Page, as_csv, as_pdf, blueprint
from app.work.tracing.batch_section import SECTION
from app.work.tracing.code_search import find_code
from app.work.tracing.lot_documents import papers_of
from app.work.tracing.trace import Trace, cut, trace_batch, trace_csv, trace_lot, trace_receiver

__all__ = ["SECTION", "blueprint", "cases", "recalls", "sending"]

TRACES: dict[str, Callable[[Any, int], Trace]] = {
    "lot": trace_lot,
    "batch": trace_batch,
    "receiver": trace_receiver,
}
# What a page draws of a tree, and what a paper does; the CSV has all of it.
MOST_DRAWN, MOST_PRINTED, MOST_LISTED = 250, 1500, 100


@blueprint.get("")
def index() -> Page:
    """Find what a code means, from this page or from the head of any; a single find opens its trace."""
    code = (request.args.get("code") or request.args.get("find", ""))[:200]
    with context.store().reading() as session:
        found = find_code(session, code)
    if len(found) == 1:
        return redirect(found[0].path, 303)
    return render_template("tracing/index.html", code=code, found=found)


@blueprint.get("/<any(lot, batch, receiver):kind>/<int:thing_id>")
def show(kind: str, thing_id: int) -> Page:
    """Show a trace both ways."""
    with context.store().reading() as session:
        trace = TRACES[kind](session, thing_id)
        lots = sorted(trace.came_from.lots.values(), key=lambda lot: lot.id)[:MOST_LISTED]
        papers = papers_of(session, lots)
    return render_template("tracing/show.html", lots=lots, papers=papers, most=MOST_LISTED, **_drawn(trace, MOST_DRAWN))


def _drawn(trace: Trace, most: int) -> dict[str, Any]:
    whence, left_behind = cut(trace.back, most)
    whither, left_out = cut(trace.onward, most)
    return {"trace": trace, "whence": whence, "whither": whither, "left": left_behind + left_out}


def _plain(code: str) -> str:
    return re.sub(r"[^A-Za-z0-9.-]+", "-", code).strip("-.")[:60] or "trace"


@blueprint.get("/<any(lot, batch, receiver):kind>/<int:thing_id>.csv")
def table(kind: str, thing_id: int) -> Page:
    """Return a trace as a table, all of it."""
    with context.store().reading() as session:
        trace = TRACES[kind](session, thing_id)
    return as_csv(trace_csv(trace), f"trace-{kind}-{_plain(trace.code)}")


@blueprint.get("/<any(lot, batch, receiver):kind>/<int:thing_id>.pdf")
def paper(kind: str, thing_id: int) -> Page:
    """Return a trace on paper."""
    with context.store().reading() as session:
        trace = TRACES[kind](session, thing_id)
    try:
        made = pdf_named("trace", (kind, trace.code), setting(), **_drawn(trace, MOST_PRINTED))
    except PaperFault as error:
        back = url_for("tracing.show", kind=kind, thing_id=thing_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    return as_pdf(made.content, made.name)
