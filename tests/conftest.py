"""Shared ground of the suite: a fresh database per test, the application around it, and a statement counter."""

import shutil
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Protocol

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import event

from app.store.engine import Store, sqlite_url
from app.store.migrate import to_revision
from app.store.workshop import Workshop
from app.web import create_app


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database at the newest revision with a workshop in it, made once and copied for each test."""
    path = tmp_path_factory.mktemp("database") / "tarebook.db"
    to_revision(sqlite_url(path))
    store = Store(sqlite_url(path))
    with store.transaction() as session:
        session.add(Workshop(id=1, name="Larch Street workshop"))
    store.close()
    return path


@pytest.fixture
def store(migrated_file: Path, tmp_path: Path) -> Iterator[Store]:
    path = Path(shutil.copy(migrated_file, tmp_path / "tarebook.db"))
    store = Store(sqlite_url(path))
    yield store
    store.close()


@pytest.fixture
def app(store: Store) -> Flask:
    app = create_app(store, secret=b"a key for tests")
    app.config["TESTING"] = True
    return app


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


class CountStatements(Protocol):
    def __call__(self) -> AbstractContextManager[list[str]]: ...


@pytest.fixture
def statements(store: Store) -> CountStatements:
    """Give a context that collects the SQL statements sent while it is open."""

    @contextmanager
    def collecting() -> Iterator[list[str]]:
        sent: list[str] = []

        def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
            sent.append(statement)

        event.listen(store.engine, "before_cursor_execute", note)
        try:
            yield sent
        finally:
            event.remove(store.engine, "before_cursor_execute", note)

    return collecting
