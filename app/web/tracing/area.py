"""The blueprint that the modules of this area hang their pages on."""

from flask import Blueprint, Response
from werkzeug.wrappers import Response as Answer

from app.work.clock import today

blueprint = Blueprint("tracing", __name__, url_prefix="/trace")
Page = Answer | str | tuple[str, int]


def as_csv(table: str, name: str) -> Response:
    """Return a table as a file; the byte-order mark tells spreadsheets that it is UTF-8."""
    answer = Response("\ufeff" + table, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}-{today().isoformat()}.csv"'
    return answer


def as_pdf(content: bytes, name: str) -> Response:
    """Return a PDF to be looked at, with the name it is saved under."""
    answer = Response(content, content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return answer
