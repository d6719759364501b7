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
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click
import waitress
from babel import default_locale

from app.commands import logbook, opening, places
from app.commands.places import Places
from app.commands.site import Site
from app.documents.render import pdf_state
from app.store.errors import Unusable
from app.web import MEBIBYTE
from app.work.form import Faults
from app.work.workshop import BeginForm, usual_beginning

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
@click.option("--own", metavar="NAME", help="Start your own workshop, empty, under this name.")
@click.option("--currency", help="Its currency, such as EUR; the usual one of your system's country.")
@click.option("--law", type=click.Choice(["EU", "US"]), help="Label rules it follows.")
def serve(
    port: int | None, data: Path | None, no_browser: bool, own: str | None, currency: str | None, law: str | None
) -> None:
    """Start Tarebook and open it in the browser.

    The first start shows a demonstration; a workshop of your own is started from its first page or with --own.
    """
    given = {name: text for name, text in (("currency", currency), ("jurisdiction", law)) if text}
    if given and own is None:
        raise click.UsageError("--currency and --law go with --own NAME")
    begin = usual_beginning(default_locale()).but(name=own, **given) if own is not None else None
    start(places.choose(data), port, browser=not no_browser, begin=begin)


def start(
    where: Places,
    port: int | None,
    *,
    browser: bool,
    begin: BeginForm | None = None,
    only_demonstration: bool = False,
) -> None:
    """Serve the workshops of a folder until they are stopped.

    Raises:
        click.ClickException: in one plain sentence, when they cannot be served.
    """
    try:
        with places.lock_workshop(where) as left, _logged(where.log), ExitStack() as listening:
            first = listening.enter_context(_listening(port))
            second = first if only_demonstration else listening.enter_context(_listening_beside(port_of(first)))
            # The printed address shows a workshop at once: one's own where there is one, else the demonstration.
            own, other = (first, second) if begin or opening.own_is_there(where) else (second, first)
            site = Site(where, None if only_demonstration else port_of(own), port_of(other))
            try:
                site.open(begin)
                if begin:
                    given = begin.text
                    click.echo(
                        f"{given['name']} is kept in {given['currency']}, under {given['jurisdiction']} law, on "
                        f"{given['paper']} paper; its page Workshop changes all three."
                    )
                _serve(site, where, [first] if only_demonstration else [first, second], left, browser)
            finally:
                site.close()
    except Faults as wrong:
        raise click.ClickException(" ".join(fault.message for fault in wrong.faults)) from wrong
    except Unusable as error:
        raise click.ClickException(str(error)) from error


def port_of(listener: socket.socket) -> int:
    """Return the port a socket listens on."""
    return int(listener.getsockname()[1])


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


@contextmanager
def _listening_beside(port: int) -> Iterator[socket.socket]:
    """Take the next free port after another one, for the other workshop; any free one when those are taken."""
    found = next((one for each in range(port + 1, min(port + TRIES, 65535)) if (one := _bind(each))), None)
    listener = found or listen(0)
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


def _serve(site: Site, where: Places, listeners: list[socket.socket], left: Path, browser: bool) -> None:
    port = port_of(listeners[0])
    server = waitress.create_server(
        site,
        sockets=listeners,
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
        _greet(address, where, site)
        threading.Thread(target=_when_ready, args=(address, browser), daemon=True).start()
        server.run()
    click.echo("Stopped.")


def _greet(address: str, where: Places, site: Site) -> None:
    LOG.info("serving on %s", address)
    click.echo(f"Tarebook is ready at {address}")
    beside = site.demonstration_port()
    if beside and site.own_port():
        click.echo(f"The demonstration is at http://{HOST}:{beside}/")
    elif site.may_begin():
        click.echo("It shows a demonstration; start your own workshop from its first page.")
    if site.trouble:
        click.echo(f"Caution: {site.trouble}. It can be made afresh on its page.")
    click.echo(f"Its files are in {where.folder}. Press Ctrl-C to stop.")
    if advice := places.drive_advice(where.folder):
        click.echo(f"Caution: {advice}.")


def _when_ready(address: str, browser: bool) -> None:
    if browser and has_screen():
        webbrowser.open(address)
    tell_about_paper()


def has_screen() -> bool:
    """Return whether a browser window can open; without one the system might start a browser inside the terminal."""
    return sys.platform in {"win32", "darwin"} or any(os.environ.get(d) for d in ("DISPLAY", "WAYLAND_DISPLAY"))


def tell_about_paper() -> None:
    """Say so when PDFs cannot be made, and which package helps."""
    state = pdf_state()
    if not state.ready:
        click.echo(state.advice)
