"""Documents: kept, given back, put away, and the list of those that are wanted."""

from collections.abc import Mapping
from io import BytesIO

from flask import Response as Answer
from flask import flash, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response

from app.store.errors import NotFound
from app.web import context
from app.web.paging import ROWS, page_after_skipped
from app.web.stock.area import blueprint
from app.work.form import Faults
from app.work.stock import documents

Page = Response | str | tuple[str, int]
FEW = 20
# The pages that show the documents of a thing.
PAGES = {
    "material": "/materials/{}", "lot": "/stock/lots/{}", "supplier": "/stock/suppliers/{}", "batch": "/batches/{}",
    "product": "/products/{}",
}  # fmt: skip


@blueprint.get("/stock/documents")
def wanted() -> str:
    """List the documents that are wanted: a few of each sort, or all of one sort."""
    only = next((why for why in documents.WhyWanted if why.value == request.args.get("show", "")), None)
    with context.store().reading() as session:
        if only is None:
            pages = {why: documents.wanted_documents(session, why, 0, FEW + 1) for why in documents.WhyWanted}
            return render_template("stock/wanted.html", found=pages, few=FEW)
        page = page_after_skipped(lambda skip: documents.wanted_documents(session, only, skip, ROWS + 1), ROWS)
    return render_template("stock/wanted_sort.html", why=only, page=page)


@blueprint.get("/stock/documents/about/<any(material, lot, supplier, batch, product):kind>/<int:thing_id>")
def about(kind: str, thing_id: int) -> str:
    """Show the documents of one thing, with the form for one more."""
    return _about(kind, thing_id, documents.DocumentForm(by=context.person()), {})


def _about(kind: str, thing_id: int, form: documents.DocumentForm, faults: Mapping[str, str]) -> str:
    with context.store().reading() as session:
        found = documents.documents_about(session, **{f"{kind}_id": thing_id})
        name = documents.name_of(session, kind, thing_id)
    return render_template(
        "stock/documents.html",
        kind=kind,
        thing_id=thing_id,
        name=name,
        documents=found,
        form=form,
        faults=faults,
        back=PAGES[kind].format(thing_id),
    )


@blueprint.post("/stock/documents/about/<any(material, lot, supplier, batch, product):kind>/<int:thing_id>")
def add(kind: str, thing_id: int) -> Page:
    """Keep a document."""
    form, file = documents.DocumentForm.sent(request.form), request.files.get("file")
    context.remember_person(form.text["by"])
    data, name = (file.read(), file.filename or "") if file else (b"", "")
    try:
        with context.store().reading() as session:
            documents.name_of(session, kind, thing_id)
        documents.add_document(
            context.store(), form, name, data, {f"{kind}_id": thing_id}, key=request.form.get("key", "")
        )
    except Faults as wrong:
        return _about(kind, thing_id, form, wrong.by_field), 422
    flash("Document added.")
    return redirect(url_for("stock.about", kind=kind, thing_id=thing_id), 303)


@blueprint.get("/stock/documents/<int:document_id>")
def document(document_id: int) -> Answer:
    """Return a document as a file to be saved."""
    with context.store().reading() as session:
        found = documents.get_document(session, document_id)
    data = documents.content_of(context.store(), found)
    return send_file(
        BytesIO(data), mimetype=found.media_type, as_attachment=True, download_name=documents.download_name(found)
    )


@blueprint.post("/stock/documents/<int:document_id>/<any(retire, 'bring-back'):action>")
def retire(document_id: int, action: str) -> Response:
    """Put a document away, or bring it back."""
    name = documents.retire_document(context.store(), document_id, back=action == "bring-back")
    flash(f"{name} is back." if action == "bring-back" else f"{name} is removed from the list. Its content is kept.")
    kind, thing_id = request.form.get("kind", ""), request.form.get("thing", "")
    if kind not in PAGES or not (thing_id.isascii() and thing_id.isdecimal()):
        raise NotFound("There is no such page.")
    return redirect(url_for("stock.about", kind=kind, thing_id=int(thing_id)), 303)
