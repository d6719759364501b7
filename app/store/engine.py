"""The connection, once: settings, transactions, and what a database's own faults mean in words."""

import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import DatabaseError, DataError, IntegrityError, InternalError, ProgrammingError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.orm.exc import StaleDataError

from app.science.errors import Invalid
from app.store.errors import Conflict, Unusable

APPLICATION_ID = 0x54415245
PRAGMAS = (
    "PRAGMA foreign_keys=ON",
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA busy_timeout=5000",
    "PRAGMA trusted_schema=OFF",
)
# The same patience as busy_timeout; and a program that hangs in mid-action does not hold the others up for ever.
SERVER_SETTINGS = "SET lock_timeout = '5s'; SET idle_in_transaction_session_timeout = '2min'"
ONE_WRITER = f"SELECT pg_advisory_xact_lock({APPLICATION_ID})"
SECONDS_TO_CONNECT = 5
WRITES = "tarebook_writes"
ASKED_ANEW_MS = 10


def sqlite_url(path: Path) -> str:
    """Return the SQLAlchemy address of a SQLite file, whatever signs its name has."""
    return URL.create("sqlite", database=str(path)).render_as_string()


def make_engine(url: str) -> Engine:
    """Return an engine whose every connection enforces references and begins its own transactions."""
    # Values stay out of error texts and so out of the log: they are what somebody typed.
    if make_url(url).get_backend_name() == "sqlite":
        engine = create_engine(url, hide_parameters=True)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    else:
        patience = {} if "connect_timeout" in make_url(url).query else {"connect_timeout": SECONDS_TO_CONNECT}
        engine = create_engine(url, hide_parameters=True, pool_pre_ping=True, connect_args=patience)
        event.listen(engine, "connect", _prepare_server)
        event.listen(engine, "begin", _begin_server)
    return engine


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(pragma)


def _begin_sqlite(connection: Connection) -> None:
    """Begin to read, or wait for one's turn to write.

    Left to itself SQLite asks more and more rarely, down to ten times a second, whether the other program is done; one
    that saves on and on so keeps all others out. Who asks often finds the moment between two of its saves.
    """
    if not _writes(connection):
        connection.exec_driver_sql("BEGIN")
        return
    sqlite: Any = connection.connection.driver_connection
    patience = sqlite.execute("PRAGMA busy_timeout").fetchone()[0]
    until = time.monotonic() + patience / 1000
    sqlite.execute(f"PRAGMA busy_timeout={min(patience, ASKED_ANEW_MS)}")
    try:
        while time.monotonic() < until:
            try:
                sqlite.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                if "locked" not in str(error):
                    break
            else:
                return
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        sqlite.execute(f"PRAGMA busy_timeout={patience}")


def _prepare_server(connection: Any, _record: Any) -> None:
    connection.autocommit = True
    connection.execute(SERVER_SETTINGS)
    connection.autocommit = False


def _begin_server(connection: Connection) -> None:
    """Let one action write at a time, as SQLite does.

    What an action read, it can then rely on until it ends: the next number of a series, a code or name that was
    free, a form that was not taken yet, a batch that was still open.
    """
    if _writes(connection):
        connection.exec_driver_sql(ONE_WRITER)


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get(WRITES, False))


def files_beside(url: str) -> Path | None:
    """Return the folder of documents beside a workshop file; None for a database server, which has no such place."""
    parsed = make_url(url)
    in_file = parsed.get_backend_name() == "sqlite" and parsed.database not in (None, "", ":memory:")
    return Path(str(parsed.database)).parent / "files" if in_file else None


class Store:
    """The database of one workshop, and the folder its documents lie in.

    Attributes:
        files: the folder of documents; who opens a database server names one, if there is to be one.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.files = files_beside(url)
        self.engine = make_engine(url)
        self._is_closed = False
        server = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        snapshot = {} if self.engine.dialect.name == "sqlite" else server
        self._reading = sessionmaker(self.engine.execution_options(**snapshot), expire_on_commit=False)
        self._writing = sessionmaker(self.engine.execution_options(**{WRITES: True}), expire_on_commit=False)

    @classmethod
    def inside(cls, connection: Connection) -> Self:
        """Return a store whose every action is part of the transaction that a connection has open."""
        store = cls.__new__(cls)
        store.url = connection.engine.url.render_as_string(hide_password=False)
        store.files = files_beside(store.url)
        store.engine = connection.engine
        store._is_closed = False
        store._reading = store._writing = sessionmaker(
            connection, expire_on_commit=False, join_transaction_mode="create_savepoint"
        )
        return store

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Do one action: everything or nothing, and one at a time.

        Raises:
            Conflict: when a record changed since it was read.
            Unusable: when the database is busy, full, read-only, damaged or away.
        """
        self._refuse_once_closed()
        with plain_faults(), self._writing.begin() as session:
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Read a consistent state; writes nothing.

        Raises:
            Unusable: when the database is busy, damaged or away.
        """
        self._refuse_once_closed()
        with plain_faults(), self._reading() as session:
            yield session

    def close(self) -> None:
        """Let go of every connection, for good: whoever comes later opens, and so makes, no file again."""
        self._is_closed = True
        self.engine.dispose()

    def _refuse_once_closed(self) -> None:
        if self._is_closed:
            raise Unusable("the workshop was closed in the meantime; open the page again")


# Signs in what SQLite and PostgreSQL write, and what they mean to the person at the bench.
MEANINGS = (
    (r"locked|lock timeout|deadlock|could not serialize", "the database is busy; try again in a moment"),
    (r"disk is full|No space left", "the disk is full"),
    (r"readonly|read-only", "the database file cannot be written"),
    (r"malformed|not a database|disk I/O error", "the database file is damaged or its disk fails"),
    (r"unable to open", "the database file cannot be opened"),
    (r"no such (table|column)", "the database lacks a table or column of this program"),
    (
        r"connect|server closed|terminat|starting up|shutting down|SSL|resolve host",
        "the database server does not answer; see that it runs and try again",
    ),
)
# What a database says of one statement is no fault of the database as a whole.
OF_ONE_STATEMENT = (DataError, IntegrityError, InternalError, ProgrammingError)


@contextmanager
def plain_faults() -> Iterator[None]:
    """Turn what a database reports of itself into the small family of errors that pages know.

    Raises:
        Conflict: when a record changed since it was read.
        Invalid: when a text holds NUL, which PostgreSQL keeps in none.
        Unusable: when the database is busy, full, read-only, damaged or away.
    """
    try:
        yield
    except StaleDataError as error:
        raise Conflict("somebody else saved this in the meantime") from error
    except OF_ONE_STATEMENT as error:
        if "NUL (0x00)" in str(error.orig):
            raise Invalid("", "There is a character in it that no text can hold; take it out.") from error
        raise
    except DatabaseError as error:
        said = str(error.orig)
        found = (words for signs, words in MEANINGS if re.search(signs, said, re.IGNORECASE))
        raise Unusable(next(found, "the database cannot be used")) from error
