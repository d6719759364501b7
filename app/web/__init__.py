"""The pages: ``create_app`` puts one blueprint per area around a store."""

from pathlib import Path

from flask import Flask, Request
from werkzeug.datastructures import MultiDict
from werkzeug.utils import cached_property

from app.store.engine import Store
from app.web import areas, assets, compression, errors, security, template_tools
from app.web.neighbours import Workshops
from app.web.row_number import RowNumber

TOP = Path(__file__).resolve().parents[2]
MEBIBYTE = 1024 * 1024


class TextRequest(Request):
    """A request whose searches hold no NUL: no text has one, and PostgreSQL would refuse to look for it."""

    @cached_property
    def args(self) -> MultiDict[str, str]:
        """The words of the address, without NUL."""
        return MultiDict((name, text.replace("\x00", "")) for name, text in super().args.items(multi=True))


def create_app(store: Store, *, secret: bytes, port: int = 0, workshops: Workshops | None = None) -> Flask:
    """Make the web application of one workshop.

    Args:
        store: the database that pages read and actions write.
        secret: the key that signs the cookie; made once per data folder.
        port: the port it is served on; cookies carry it in their name, since cookies ignore ports.
        workshops: what serves one's own workshop and the demonstration side by side, when they are.
    """
    app = Flask(__name__, template_folder=str(TOP / "templates"), static_folder=None)
    app.request_class = TextRequest
    app.config.update(
        SECRET_KEY=secret,
        SESSION_COOKIE_NAME=f"tarebook_{port}",
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_HTTPONLY=True,
        TRUSTED_HOSTS=["127.0.0.1", "localhost"],
        MAX_CONTENT_LENGTH=8 * MEBIBYTE,
        MAX_FORM_MEMORY_SIZE=8 * MEBIBYTE,
        MAX_FORM_PARTS=60_000,
        TEMPLATES_AUTO_RELOAD=False,
    )
    app.extensions.update(store=store, port=port, workshops=workshops)
    app.url_map.converters["int"] = RowNumber
    security.protect(app)
    errors.register_error_handlers(app)
    template_tools.register_template_tools(app)
    assets.serve(app, TOP / "static")
    areas.register(app)
    compression.compress_for_others(app)
    return app
