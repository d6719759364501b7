"""Style sheets, scripts, faces and pictures: served under an address that changes with their content, and kept a year.

One digest speaks for the whole folder, so that what a style sheet or a script names beside itself needs no rewriting.
"""

import hashlib
from pathlib import Path
from typing import Any

from flask import Flask, Response, send_from_directory

YEAR_S = 365 * 24 * 3600
LETTERS = 12


def digest_of(folder: Path) -> str:
    """Return a short digest of the names and contents of every file in a folder.

    Args:
        folder: the folder that is served.
    """
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        found.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:LETTERS]


def serve(app: Flask, folder: Path) -> None:
    """Serve a folder as ``static``; ``url_for("static", filename=...)`` writes addresses with the digest.

    A page that was open before an update asks under the old digest: it gets what there is now, and keeps nothing.
    """
    digest = digest_of(folder)

    def send(stamp: str, filename: str) -> Response:
        answer = send_from_directory(folder, filename, max_age=YEAR_S if stamp == digest else 0)
        if stamp == digest:
            answer.cache_control.public, answer.cache_control.immutable = True, True
        return answer

    def add_stamp(endpoint: str, values: dict[str, Any]) -> None:
        if endpoint == "static":
            values.setdefault("stamp", digest)

    app.add_url_rule("/static/<stamp>/<path:filename>", endpoint="static", view_func=send)
    app.url_defaults(add_stamp)
