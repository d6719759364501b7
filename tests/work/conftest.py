"""The demonstration workshop, loaded once and copied for each test that asks for it."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.store.engine import Store, sqlite_url
from app.store.migrate import to_revision
from app.work.demo import load_demo


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "tarebook.db"
    to_revision(sqlite_url(path))
    store = Store(sqlite_url(path))
    load_demo(store)
    store.close()
    return path


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Iterator[Store]:
    store = Store(sqlite_url(Path(shutil.copy(demo_file, tmp_path / "demo.db"))))
    yield store
    store.close()
