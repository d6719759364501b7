"""Every fault becomes a page that says in plain words what happened and what was not saved."""

import logging
import secrets

from flask import Flask, render_template, request
from werkzeug.exceptions import HTTPException, SecurityError

from app.science.errors import Invalid
from app.store.errors import Conflict, NotFound, Unusable

LOG = logging.getLogger(__name__)
FOREIGN_HOST = "This address is not ours. Open Tarebook at the address it printed when it started.\n"
WORDS = {
    400: ("That request cannot be read", "Nothing was saved."),
    403: ("This request came from another site", "Nothing was changed. Open the page here and do it again."),
    404: ("There is no such page", "It may have been retired, or the address has a slip in it."),
    405: ("That cannot be done here", "Nothing was changed."),
    413: ("That is too much at once", "Nothing was saved. Send less than 8 MB and tables of at most 20,000 lines."),
    415: ("This kind of file is not read here", "Nothing was saved."),
}


def explain(app: Flask) -> None:
    """Map the known errors to pages, in one place."""
    app.register_error_handler(NotFound, lambda error: _page(404, str(error)))
    app.register_error_handler(Conflict, lambda error: _page(409, str(error)))
    app.register_error_handler(Unusable, lambda error: _page(503, str(error)))
    app.register_error_handler(Invalid, lambda error: _page(422, error.message))
    app.register_error_handler(SecurityError, lambda _error: (FOREIGN_HOST, 400, {"Content-Type": "text/plain"}))
    app.register_error_handler(HTTPException, lambda error: _page(error.code or 500, ""))
    app.register_error_handler(Exception, _last_resort)


def _page(status: int, detail: str) -> tuple[str, int]:
    heading, advice = WORDS.get(status, _fallback(status))
    return render_template("error.html", status=status, heading=heading, advice=advice, detail=detail), status


def _fallback(status: int) -> tuple[str, str]:
    return {
        409: ("Somebody else saved this in the meantime", "Your last change was not saved. Go back and compare."),
        422: ("Something on that form needs another look", "Nothing was saved."),
        503: ("The book cannot be written just now", "Your last change was not saved. Go back: it is still typed."),
    }.get(status, ("That did not work", "Nothing was saved."))


def _last_resort(error: Exception) -> tuple[str, int]:
    number = secrets.token_hex(4)
    LOG.exception("fault %s at %s %s", number, request.method, request.path)
    advice = f"Your last change was not saved. The log has the details under {number}."
    return render_template("error.html", status=500, heading="Something broke here", advice=advice, detail=""), 500
