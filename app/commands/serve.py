"""The ``serve`` command: the workshop in the browser, on this machine only."""

import contextlib
import logging
import os
import select
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import waitress

from app.commands import logbook, opening, places
from app.commands.places import Places
from app.documents.render import pdf_state
from app.store.engine import Store
from app.store.errors import Unusable
from app.web import MEBIBYTE, create_app

LOG = logging.getLogger(__name__)
HOST = "127.0.0.1"
PORT = 8520
TRIES = 20
PORT_OPTION = click.option(
    "--port", type=click.IntRange(0, 65535), help=f"The port, instead of {PORT} or the next free."
)
BROWSER_OPTION = click.option("--no-browser", is_flag=True, help="Print the address only.")


@click.command("serve")
@PORT_OPTION
@places.DATA_OPTION
@BROWSER_OPTION
def serve(port: int | None, data: Path | None, no_browser: bool) -> None:
    """Start Tarebook and open it in the browser."""
    start(places.choose(data), port, browser=not no_browser)


def start(where: Places, port: int | None, *, browser: bool) -> None:
    """Serve the workshop of a folder until it is stopped.

    Raises:
        click.ClickException: in one plain sentence, when it cannot be served.
    """
    try:
        with places.occupy(where) as left, _logged(where.log), _listening(port) as listener:
            store = opening.open_workshop(where)
            try:
                _serve(store, where, listener, left, browser)
            finally:
                store.close()
    except Unusable as error:
        raise click.ClickException(str(error)) from error


@contextmanager
def _logged(path: Path) -> Iterator[None]:
    try:
        handler = logbook.start(path)
    except OSError as error:
        raise Unusable(f"the log {path} cannot be written: {error.strerror}") from error
    try:
        yield
    except Unusable as error:
        LOG.error("did not start: %s", error)
        raise
    finally:
        logbook.stop(handler)


@contextmanager
def _listening(port: int | None) -> Iterator[socket.socket]:
    listener = listen(port)
    try:
        yield listener
    finally:
        listener.close()


def listen(port: int | None) -> socket.socket:
    """Take a port of the loopback address: the one asked for, or the first free one from 8520 on.

    Raises:
        Unusable: when it is taken.
    """
    for candidate in [port] if port is not None else range(PORT, PORT + TRIES):
        listener = _bind(candidate)
        if listener:
            return listener
    taken = f"the port {port} is" if port is not None else f"the ports {PORT} to {PORT + TRIES - 1} are"
    raise Unusable(f"{taken} in use by another program; choose one with --port")


def _bind(port: int) -> socket.socket | None:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform == "win32":  # there the usual option would let two programs share the port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
        listener.listen(128)
    except OSError:
        listener.close()
        return None
    return listener


def _serve(store: Store, where: Places, listener: socket.socket, left: Path, browser: bool) -> None:
    port = listener.getsockname()[1]
    app = create_app(store, secret=places.secret_key(where), port=port)
    server = waitress.create_server(
        app,
        sockets=[listener],
        threads=6,
        ident=None,
        # A little more than the application takes, so that it is the one to answer.
        max_request_body_size=9 * MEBIBYTE,
        clear_untrusted_proxy_headers=True,
        # Browsers keep connections open that say nothing; a hundred of them are not to keep everybody else out.
        connection_limit=500,
        channel_timeout=30,
        cleanup_interval=5,
        asyncore_use_poll=hasattr(select, "poll"),
    )
    address = f"http://{HOST}:{port}/"
    left.write_text(address, encoding="utf-8")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with contextlib.suppress(KeyboardInterrupt):
        _greet(address, where)
        threading.Thread(target=_when_ready, args=(address, browser), daemon=True).start()
        server.run()
    click.echo("Stopped.")


def _greet(address: str, where: Places) -> None:
    LOG.info("serving on %s", address)
    click.echo(f"Tarebook is ready at {address}")
    click.echo(f"Its files are in {where.folder}. Press Ctrl-C to stop.")
    if advice := places.drive_advice(where.folder):
        click.echo(f"Take care: {advice}.")


def _when_ready(address: str, browser: bool) -> None:
    if browser and has_screen():
        webbrowser.open(address)
    tell_about_paper()


def has_screen() -> bool:
    """Say whether a browser window can open; without one the system might start a browser inside the terminal."""
    return sys.platform in {"win32", "darwin"} or any(os.environ.get(d) for d in ("DISPLAY", "WAYLAND_DISPLAY"))


def tell_about_paper() -> None:
    """Say so when PDFs cannot be made, and which package helps."""
    state = pdf_state()
    if not state.ready:
        click.echo(state.advice)
