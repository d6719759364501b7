"""Text is compressed where the server is not on the same machine; on the same machine it would only cost time."""

import gzip
from ipaddress import ip_address

from flask import Flask, Response, request

LEAST_BYTES = 1_000
TEXTS = ("text/", "application/json", "application/javascript", "image/svg+xml")


def compress_for_others(app: Flask) -> None:
    """Compress the answers that leave this machine."""
    app.after_request(_compressed)


def _compressed(response: Response) -> Response:
    if not (response.mimetype or "").startswith(TEXTS):
        return response
    response.vary.add("Accept-Encoding")
    if _asked_from_here() or not request.accept_encodings["gzip"] or "Content-Encoding" in response.headers:
        return response
    if response.status_code != 200 or request.method == "HEAD":
        return response
    response.direct_passthrough = False
    text = response.get_data()
    if len(text) >= LEAST_BYTES:
        response.set_data(gzip.compress(text, 5))
        response.headers["Content-Encoding"] = "gzip"
        response.headers.pop("Accept-Ranges", None)
    return response


def _asked_from_here() -> bool:
    try:
        return ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        return False
