"""Materials and prices out as a file, and in again after a preview."""

from flask import Response as Answer
from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.web import context
from app.web.materials.area import blueprint
from app.work.clock import today
from app.work.csv_text import ENCODINGS, Unreadable, decode
from app.work.materials import transfer, transfer_prices

MATERIALS, PRICES = "materials", "prices"


@blueprint.get("/materials/materials.csv")
def export_materials() -> Answer:
    """Return every material as a file."""
    return _download(transfer.export_materials(context.store()), MATERIALS)


@blueprint.get("/materials/prices.csv")
def export_prices() -> Answer:
    """Return every price as a file."""
    return _download(transfer_prices.export_prices(context.store()), PRICES)


def _download(text: str, what: str) -> Answer:
    """Send a table; the byte-order mark tells spreadsheets that it is UTF-8."""
    answer = Answer("\ufeff" + text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{what}-{today().isoformat()}.csv"'
    return answer


def _page(status: int, **more: object) -> tuple[str, int]:
    given = {"what": MATERIALS, "faults": (), "preview": None, "text": "", "encoding": "utf-8"}
    columns = {MATERIALS: transfer.COLUMNS, PRICES: transfer_prices.COLUMNS}
    return render_template("materials/transfer.html", **{**given, **more}, encodings=ENCODINGS, columns=columns), status


@blueprint.get("/materials/transfer")
def transfer_page() -> tuple[str, int]:
    """Offer the files to take away, and the form to bring one in."""
    return _page(200)


@blueprint.post("/materials/transfer")
def preview_file() -> tuple[str, int]:
    """Read a file and say what taking it would do, before anything is written."""
    what, encoding = request.form.get("what", MATERIALS), request.form.get("encoding", "utf-8")
    same: dict[str, object] = {"what": what, "encoding": encoding, "text": request.form.get("text", "")}
    try:
        file = request.files.get("file")
        data = file.read() if file else b""
        text = decode(data, encoding) if data else request.form.get("text", "")
        same["text"] = text
        seen = _PREVIEWS.get(what, transfer.preview)(context.store(), text)
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, **same)
    return _page(200, preview=seen, **same)


_PREVIEWS = {MATERIALS: transfer.preview, PRICES: transfer_prices.preview_prices}


@blueprint.post("/materials/transfer/take")
def take_file() -> Response | tuple[str, int]:
    """Write what the preview showed."""
    what, text, key = (request.form.get(name, "") for name in ("what", "text", "key"))
    try:
        if what == PRICES:
            count = transfer_prices.import_prices(context.store(), text, key=key)
        else:
            update = request.form.get("update") == "yes"
            count = transfer.import_materials(context.store(), text, update=update, key=key)
    except Unreadable as wrong:
        return _page(422, faults=wrong.faults, what=what, text=text)
    flash(f"{count} written." if count else "Nothing new, so nothing was changed.")
    return redirect(url_for("materials.index"), 303)
