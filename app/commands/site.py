"""One's own workshop and the demonstration behind one server, each on a port of its own."""

import logging
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any
from urllib.parse import quote

from flask import Flask

from app.commands import opening, places
from app.commands.places import Places
from app.store.engine import Store
from app.store.errors import Conflict, Unusable
from app.web import create_app
from app.work.workshop import BeginForm, begin_workshop

LOG = logging.getLogger(__name__)
HOSTS = {"127.0.0.1", "localhost"}
SECONDS_TO_ANSWER = 10
JUST_NOW = b"The demonstration is being made. Try again in a moment.\n"
FOREIGN = b"This address is not ours. Open Tarebook at the address it printed when it started.\n"


class Site:
    """The applications of one folder by their ports; a port whose workshop is not there leads to the other one.

    Args:
        where: the folder.
        own_port: where one's own workshop is or will be; None where only the demonstration is wanted.
        demonstration_port: where the demonstration is.
    """

    def __init__(self, where: Places, own_port: int | None, demonstration_port: int) -> None:
        self._where, self._own, self._demonstration = where, own_port, demonstration_port
        self._secret = places.secret_key(where)
        self._apps: dict[int, Flask] = {}
        self._change = threading.Lock()
        self._answered = threading.Condition()
        self._answering: dict[int, int] = {}
        self.trouble = ""

    def open(self, begin: BeginForm | None = None) -> None:
        """Open what is there; without a workshop of one's own the demonstration is always there.

        Args:
            begin: what one's own workshop is to begin with, when it is to be made now.

        Raises:
            Unusable: when a workshop cannot be used, or there is one already.
        """
        own = opening.open_own(self._where) if self._own else None
        if own and begin:
            own.close()
            raise Unusable("there is a workshop already; start without --own")
        if own and self._own:
            self._show(self._own, own)
        elif begin:
            self.begin_own(begin)
        if not self.own_port() or self._where.demonstration.database.exists():
            self._open_demonstration()

    def _open_demonstration(self) -> None:
        try:
            self._show(self._demonstration, opening.open_demonstration(self._where))
        except Unusable as error:
            if not self.own_port():
                folder = self._where.demonstration.folder
                raise Unusable(f"{error}. Move {folder} away; the next start makes a new demonstration") from error
            LOG.error("the demonstration cannot be opened: %s", error)
            self.trouble = f"the demonstration cannot be opened: {error}"

    def _show(self, port: int, store: Store) -> None:
        self._apps[port] = create_app(store, secret=self._secret, port=port, workshops=self)

    def close(self) -> None:
        """Let go of both databases."""
        for port in list(self._apps):
            self._hide(port)

    def _hide(self, port: int) -> None:
        store: Store = self._apps.pop(port).extensions["store"]
        # What is just being answered still reads and writes there; a later request finds the port empty.
        with self._answered:
            self._answered.wait_for(lambda: port not in self._answering.values(), SECONDS_TO_ANSWER)
        store.close()

    @contextmanager
    def _changing(self) -> Iterator[None]:
        """Change what is served, one change at a time; the request that asks for it does nothing else any more."""
        self._forget(threading.get_ident())
        with self._change:
            yield

    def _forget(self, thread: int) -> None:
        with self._answered:
            self._answering.pop(thread, None)
            self._answered.notify_all()

    def own_port(self) -> int | None:
        """Return the port of one's own workshop; None while there is none."""
        return self._own if self._own in self._apps else None

    def demonstration_port(self) -> int | None:
        """Return the port of the demonstration; None when it was thrown away."""
        return self._demonstration if self._demonstration in self._apps else None

    def may_begin(self) -> bool:
        """Return whether a workshop of one's own can be begun here."""
        return self._own is not None and self._own not in self._apps

    def begin_own(self, form: BeginForm) -> int:
        """Make one's own workshop and return its port.

        Raises:
            Faults: with everything that is wrong, each at its field.
            Conflict: when there is one already.
        """
        form.checked()
        with self._changing():
            if self._own is None or not self.may_begin():
                raise Conflict("There is a workshop of your own already.")
            self._show(self._own, opening.make_own(self._where, partial(begin_workshop, typed=form)))
            LOG.info("a workshop was begun in %s", self._where.folder)
            return self._own

    def renew_demonstration(self) -> str:
        """Make the demonstration afresh, whole; return where the former one was kept, empty when there was none."""
        with self._changing():
            made = opening.demonstration_made_aside(self._where)
            if self.demonstration_port():
                kept = self._discard()
            else:
                there = self._where.demonstration.folder.exists()
                kept = str(opening.set_demonstration_aside(self._where)) if there else ""
            opening.put_demonstration(self._where, made)
            self._show(self._demonstration, opening.open_demonstration(self._where))
            return kept

    def discard_demonstration(self) -> str:
        """Throw the demonstration away; return where a copy was kept.

        Raises:
            Conflict: when it is gone already, or nothing else would be left.
        """
        with self._changing():
            if not self.demonstration_port() or not self.own_port():
                raise Conflict("The demonstration cannot be thrown away: it is gone, or nothing else would be there.")
            return self._discard()

    def _discard(self) -> str:
        kept = opening.keep_demonstration(self._where)
        self._hide(self._demonstration)
        opening.remove_demonstration(self._where)
        LOG.info("the demonstration was removed; a copy is kept as %s", kept)
        return str(kept)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request with the application of the port it came to, or lead to the other one."""
        port, thread = int(environ["SERVER_PORT"]), threading.get_ident()
        with self._answered:
            app = self._apps.get(port)
            if app:
                self._answering[thread] = port
        try:
            return app(environ, start_response) if app else self._lead_over(environ, start_response)
        finally:
            self._forget(thread)

    def _lead_over(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        host = str(environ.get("HTTP_HOST", "")).partition(":")[0]
        port = self.own_port() or self.demonstration_port()
        headers = [("Content-Type", "text/plain; charset=utf-8"), ("Cache-Control", "no-store")]
        if host not in HOSTS:
            start_response("400 Bad Request", headers)
            return [FOREIGN]
        if port is None:
            start_response("503 Service Unavailable", [*headers, ("Retry-After", "5")])
            return [JUST_NOW]
        # What was sent to the one is never taken by the other: a form ends on its first page.
        path = str(environ.get("PATH_INFO", "/")) if environ["REQUEST_METHOD"] in {"GET", "HEAD"} else "/"
        path = quote("/" + path.lstrip("/").encode("latin-1", "replace").decode("utf-8", "replace"))
        query = f"?{environ['QUERY_STRING']}" if environ.get("QUERY_STRING") and path != "/" else ""
        start_response("303 See Other", [*headers, ("Location", f"http://{host}:{port}{path}{query}")])
        return [b""]
