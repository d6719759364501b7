"""Every fault becomes a page that says in plain words what happened, and gives back what was typed.

A form that cannot be taken is drawn again by its own view where a field is at fault. What no field is at fault for (the
disk is full, somebody was faster, something broke) ends here: the page carries every field that was sent, can be
corrected and sent again, so nothing has to be typed twice.
"""

import logging
import secrets
from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import Flask, Request, render_template, request
from werkzeug.exceptions import HTTPException, SecurityError

from app.science.errors import Invalid
from app.store.errors import Conflict, NotFound, Unusable

LOG = logging.getLogger(__name__)
FOREIGN_HOST = "This address is not ours. Open Tarebook at the address it printed when it started.\n"
WORDS = {
    400: ("That request cannot be read", "Nothing was saved."),
    403: ("This request came from another site", "Nothing was changed. Open the page here and do it again."),
    404: ("There is no such page", "It may have been retired, or the address is mistyped."),
    405: ("That cannot be done here", "Nothing was changed."),
    409: ("Somebody else saved this in the meantime", "Your last change was not saved."),
    413: ("That is too much at once", "Nothing was saved. Send less than 8 MB and tables of at most 20,000 lines."),
    415: ("This kind of file cannot be read", "Nothing was saved."),
    422: ("Something on that form has to be corrected", "Nothing was saved."),
    500: ("Something went wrong", "Your last change was not saved."),
    503: ("The workshop's database cannot be used just now", "Nothing was changed."),
}
# Faults after which the form is worth sending again; after a conflict it would only meet the same one.
SEND_AGAIN = {422, 500, 503}
GIVEN_BACK = SEND_AGAIN | {404, 409}
# What a form carries for the program and nobody typed.
UNSEEN = {
    "action", "back", "base", "editor", "form_key", "key", "left", "more", "printed", "printed_key", "row_version",
    "seen", "shown", "their_version", "was",
}  # fmt: skip
MANY = 12


@dataclass(frozen=True, slots=True)
class SentField:
    """A field of a form as it was sent: its name, a label made of it, its text, and whether somebody typed it."""

    name: str
    label: str
    text: str
    typed: bool


def register_error_handlers(app: Flask) -> None:
    """Map the known errors to pages, in one place."""
    app.register_error_handler(NotFound, lambda error: _page(404, str(error)))
    app.register_error_handler(Conflict, lambda error: _page(409, str(error)))
    app.register_error_handler(Unusable, _unusable)
    app.register_error_handler(Invalid, lambda error: _page(422, error.message))
    app.register_error_handler(SecurityError, lambda _error: (FOREIGN_HOST, 400, {"Content-Type": "text/plain"}))
    app.register_error_handler(HTTPException, lambda error: _page(error.code or 500, ""))
    app.register_error_handler(Exception, _last_resort)


def sent_fields(asked: Request) -> list[SentField]:
    """Return every field of a form in the order it was sent, repeated names as often as they were."""
    return [
        SentField(name, _label(name), text.replace("\x00", ""), bool(text.strip()) and name not in UNSEEN)
        for name, text in asked.form.items(multi=True)
    ]


def _label(name: str) -> str:
    words = name.replace("_", " ").replace(".", " ").replace("-", " ").strip()
    return words[:1].upper() + words[1:]


def _page(status: int, detail: str, advice: str = "") -> tuple[str, int]:
    heading, usual = WORDS.get(status, ("That could not be done", "Nothing was saved."))
    posted = request.method == "POST" and status in GIVEN_BACK
    fields = sent_fields(request) if posted else []
    # Back to the page that the form was on, where that was one of ours.
    before = urlsplit(request.referrer or "")
    page = render_template(
        "error.html",
        heading=heading,
        detail=detail,
        advice=advice or usual,
        fields=fields,
        many=sum(field.typed for field in fields) > MANY,
        files=list(request.files) if posted else [],
        again=status in SEND_AGAIN and posted,
        back=(before.path + (f"?{before.query}" if before.query else "")) if before.netloc == request.host else "",
    )
    return page, status


def _unusable(error: Unusable) -> tuple[str, int]:
    LOG.error("%s %s was not done: %s", request.method, request.path, error)
    return _page(503, str(error))


def _last_resort(error: Exception) -> tuple[str, int]:
    number = secrets.token_hex(4)
    LOG.exception("fault %s at %s %s", number, request.method, request.path)
    lost = "Your last change was not saved. " if request.method == "POST" else ""
    return _page(500, "", f"{lost}The log has the details under {number}.")
