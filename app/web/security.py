"""Who may ask, and what a browser may do with the answer."""

from urllib.parse import urlsplit

from flask import Flask, Request, Response, abort, request

SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def protect(app: Flask) -> None:
    """Refuse forged requests and send the protective headers with every answer."""
    app.before_request(_refuse_forgery)
    app.after_request(_add_headers)


def is_own(asked: Request) -> bool:
    """Return whether a request that changes something comes from our own pages, or from a program on this machine."""
    site = asked.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in {"same-origin", "none"}
    origin = asked.headers.get("Origin")
    if origin is None:
        return True
    parts = urlsplit(origin)
    return (parts.scheme, parts.netloc) == (asked.scheme, asked.host)


def _refuse_forgery() -> None:
    if request.method not in SAFE_METHODS and not is_own(request):
        abort(403)


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if request.endpoint != "static":
        response.headers.setdefault("Cache-Control", "no-store")
    return response
