"""A backup with documents is one archive; restoring proves every hash, and a damaged one changes nothing."""

import errno
import hashlib
import json
import os
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.store import archive, backup
from app.store.engine import Store, sqlite_url
from app.store.errors import Unusable
from app.store.stock import Document
from app.work.clock import now
from app.work.stock.documents import keep_file

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
CONTENT = (b"%PDF a certificate", b"an allergen sheet" * 1000)

pytestmark = pytest.mark.sqlite


@pytest.fixture
def workshop(migrated_file: Path, tmp_path: Path) -> Path:
    """A workshop with two documents."""
    folder = tmp_path / "workshop"
    folder.mkdir()
    database = Path(shutil.copy(migrated_file, folder / "tarebook.db"))
    store = Store(sqlite_url(database))
    with store.transaction() as session:
        for number, data in enumerate(CONTENT):
            sha256 = keep_file(folder / "files", data)
            session.add(Document(sha256=sha256, size=len(data), name=f"Paper {number}", added_at=now()))
    store.close()
    return database


def file_of(database: Path, data: bytes) -> Path:
    sha256 = hashlib.sha256(data).hexdigest()
    return database.parent / "files" / sha256[:2] / sha256


def made(workshop: Path) -> Path:
    return backup.make_backup(workshop, workshop.parent / "backups", backup.BY_HAND, NOON).path


def test_the_archive_holds_the_database_and_every_document_with_its_hash(workshop: Path) -> None:
    path = made(workshop)
    assert path.suffix == ".zip"
    with zipfile.ZipFile(path) as opened:
        manifest = json.loads(opened.read("manifest.json"))
        assert sorted(manifest["files"]) == sorted(hashlib.sha256(data).hexdigest() for data in CONTENT)
        for sha256 in manifest["files"]:
            assert hashlib.sha256(opened.read(f"files/{sha256}")).hexdigest() == sha256
        assert hashlib.sha256(opened.read("tarebook.db")).hexdigest() == manifest["database"]["sha256"]
    assert backup.backups(path.parent) == [path]
    assert [left for left in path.parent.iterdir() if left != path] == []


def test_a_restore_brings_database_and_documents_back(workshop: Path, tmp_path: Path) -> None:
    path = made(workshop)
    other = tmp_path / "another machine" / "tarebook.db"
    other.parent.mkdir()
    assert backup.restore(path, other, other.parent / "backups", NOON) is None
    assert [file_of(other, data).read_bytes() for data in CONTENT] == list(CONTENT)
    with closing(sqlite3.connect(other)) as connection, connection:
        assert connection.execute("SELECT count(*) FROM document").fetchone() == (2,)
    again = backup.restore(path, other, other.parent / "backups", NOON)
    assert again is not None
    assert again.path.suffix == ".zip"


def test_a_restore_onto_a_full_disk_says_so_and_leaves_what_is_there(
    workshop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, before = made(workshop), workshop.read_bytes()

    def full(*_entry: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(archive, "_extract", full)
    with pytest.raises(Unusable, match="cannot be written: No space left"):
        backup.restore(path, workshop, tmp_path / "backups", NOON)
    assert workshop.read_bytes() == before


def test_a_workshop_without_documents_is_one_file_by_itself(migrated_file: Path, tmp_path: Path) -> None:
    database = Path(shutil.copy(migrated_file, tmp_path / "tarebook.db"))
    path = backup.make_backup(database, tmp_path / "backups", backup.BY_HAND, NOON).path
    assert path.suffix == ".db"
    assert not archive.is_archive(path)


def test_a_lost_document_does_not_keep_the_rest_from_being_saved(workshop: Path, tmp_path: Path) -> None:
    file_of(workshop, CONTENT[0]).unlink()
    file_of(workshop, CONTENT[1]).write_bytes(b"something else")
    saved = backup.make_backup(workshop, workshop.parent / "backups", backup.BY_HAND, NOON)
    assert sorted(saved.missing) == sorted(hashlib.sha256(data).hexdigest() for data in CONTENT)
    other = tmp_path / "tarebook.db"
    backup.restore(saved.path, other, tmp_path / "backups", NOON)
    backup.examine(other)


def rewrite(path: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    with zipfile.ZipFile(path) as opened:
        entries = {name: opened.read(name) for name in opened.namelist()}
    change(entries)
    with zipfile.ZipFile(path, "w") as opened:
        for name, data in entries.items():
            opened.writestr(name, data)


def changed_document(entries: dict[str, bytes]) -> None:
    name = next(name for name in entries if name.startswith("files/"))
    entries[name] = entries[name][:-1] + b"!"


def lost_document(entries: dict[str, bytes]) -> None:
    del entries[next(name for name in entries if name.startswith("files/"))]


def changed_database(entries: dict[str, bytes]) -> None:
    entries["tarebook.db"] += b"x"


def other_manifest(**values: object) -> Callable[[dict[str, bytes]], None]:
    def change(entries: dict[str, bytes]) -> None:
        entries["manifest.json"] = json.dumps({**json.loads(entries["manifest.json"]), **values}).encode()

    return change


DAMAGES: dict[str, Callable[[dict[str, bytes]], None]] = {
    "a document changed": changed_document,
    "a document is lost": lost_document,
    "the database changed": changed_database,
    "no manifest": lambda entries: entries.pop("manifest.json"),  # type: ignore[dict-item]
    "the manifest is no table": lambda entries: entries.update({"manifest.json": b"[]"}),
    "another program's": other_manifest(kind="something else"),
    "a newer edition": other_manifest(edition=2),
    "a name that is a path": other_manifest(files={"../../evil": 3}),
    "a size that lies": other_manifest(database={"sha256": "0" * 64, "size": 1}),
    "files that are no table": other_manifest(files=[1]),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_an_archive_that_is_not_what_its_manifest_says_changes_nothing(
    workshop: Path, tmp_path: Path, damage: Callable[[dict[str, bytes]], None]
) -> None:
    path = made(workshop)
    rewrite(path, damage)
    other = tmp_path / "own" / "tarebook.db"
    other.parent.mkdir()
    shutil.copy(workshop, other)
    before = other.read_bytes()
    with pytest.raises(Unusable):
        backup.restore(path, other, other.parent / "backups", NOON)
    assert other.read_bytes() == before
    assert sorted(path.name for path in other.parent.iterdir()) == ["tarebook.db"]


@pytest.mark.parametrize("cut", [10, 200, 5000])
def test_an_archive_cut_short_is_refused_in_plain_words(workshop: Path, tmp_path: Path, cut: int) -> None:
    path = made(workshop)
    path.write_bytes(path.read_bytes()[:cut])
    with pytest.raises(Unusable, match="is damaged"):
        backup.restore(path, tmp_path / "tarebook.db", tmp_path / "backups", NOON)
    assert not (tmp_path / "tarebook.db").exists()
