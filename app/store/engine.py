"""The connection, once: pragmas, transactions, and which database is used."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import OperationalError, StatementError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.orm.exc import StaleDataError

from app.store.errors import Conflict, Unusable

APPLICATION_ID = 0x54415245
PRAGMAS = (
    "PRAGMA foreign_keys=ON",
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA busy_timeout=5000",
    "PRAGMA trusted_schema=OFF",
)
WRITES = "tarebook_writes"


def sqlite_url(path: Path) -> str:
    """Write the SQLAlchemy address of a SQLite file."""
    return f"sqlite:///{path}"


def make_engine(url: str) -> Engine:
    """Make an engine whose every connection enforces references and begins its own transactions."""
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(pragma)


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


class Store:
    """The database of one workshop."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = make_engine(url)
        self._reading = sessionmaker(self.engine, expire_on_commit=False)
        self._writing = sessionmaker(self.engine.execution_options(**{WRITES: True}), expire_on_commit=False)

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Do one deed: everything or nothing.

        Raises:
            Conflict: when a record changed since it was read.
            Unusable: when the database is busy, full or read-only.
        """
        try:
            with self._writing.begin() as session:
                yield session
        except StaleDataError as error:
            raise Conflict("somebody else saved this in the meantime") from error
        except OperationalError as error:
            raise Unusable(_plain_words(error)) from error

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Read a consistent state; writes nothing."""
        with self._reading() as session:
            yield session

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


REASONS = {
    "locked": "the database is busy; try again in a moment",
    "full": "the disk is full",
    "readonly": "the database file cannot be written",
    "malformed": "the database file is damaged",
}


def _plain_words(error: StatementError) -> str:
    text = str(error.orig)
    return next((words for sign, words in REASONS.items() if sign in text), "the database could not be written")
