"""A backup with documents: one archive of the database and every file it names, with a manifest of their hashes.

A workshop without documents is one file by itself and is copied as that. The archive is a plain ZIP (PKWARE APPNOTE
6.3), so that it can be opened without this program; names in it are never used as paths.
"""

import hashlib
import json
import os
import re
import secrets
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.store.errors import Unusable

MANIFEST, DATABASE, FOLDER = "manifest.json", "tarebook.db", "files/"
KIND, EDITION = "tarebook backup", 1
SHA256 = re.compile(r"[0-9a-f]{64}")
CHUNK = 1 << 20
LARGEST_MANIFEST = 64 << 20


@dataclass(frozen=True, slots=True)
class PackedFiles:
    """What went into an archive: how many documents, and the hashes of those whose file was missing or damaged."""

    documents: int
    missing: tuple[str, ...]


# The tables that hold files by the hash of their content.
HOLDING_FILES = ("document", "recipe_picture")


def documents_of(connection: sqlite3.Connection) -> list[str]:
    """Return the hashes of the files that a workshop file names; none where it knows no documents yet."""
    known = {str(row[0]) for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    rows = (
        connection.execute(f"SELECT sha256 FROM {table}")  # noqa: S608 - the names above
        for table in HOLDING_FILES
        if table in known
    )
    return sorted({str(row[0]) for found in rows for row in found})


def is_archive(path: Path) -> bool:
    """Return whether a file is an archive and not a workshop file by itself."""
    try:
        with path.open("rb") as file:
            return file.read(4) == b"PK\x03\x04"
    except OSError:
        return False


def pack(database: Path, documents: list[str], files: Path, target: Path) -> PackedFiles:
    """Write a database copy and the documents it names into an archive, each proved by its hash as it is read.

    A document whose file is gone or damaged is left out and named in the manifest: one lost file must not keep the
    rest from being saved.
    """
    kept: dict[str, int] = {}
    missing: list[str] = []
    with zipfile.ZipFile(target, "x", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.write(database, DATABASE)
        for sha256 in documents:
            content = _content(files / sha256[:2] / sha256, sha256)
            if content is None:
                missing.append(sha256)
                continue
            archive.writestr(FOLDER + sha256, content, zipfile.ZIP_STORED)
            kept[sha256] = len(content)
        manifest = {
            "kind": KIND,
            "edition": EDITION,
            "database": {"sha256": _hash_of(database), "size": database.stat().st_size},
            "files": kept,
            "missing": missing,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1, sort_keys=True))
    with target.open("r+b") as file:
        os.fsync(file.fileno())
    return PackedFiles(len(kept), tuple(missing))


def _content(path: Path, sha256: str) -> bytes | None:
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return data if hashlib.sha256(data).hexdigest() == sha256 else None


def _hash_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def unpacked(source: Path, beside: Path) -> Iterator[Path]:
    """Yield the database of a backup as a file of its own, proved by its hash; a plain copy is given as it lies.

    Args:
        source: the backup, an archive or a workshop file.
        beside: a file in the folder where the database is laid while it is needed.

    Raises:
        Unusable: when the archive is damaged, foreign, or not what its manifest says.
    """
    if not is_archive(source):
        yield source
        return
    draft = beside.with_name(f"{beside.name}.{secrets.token_hex(4)}.part")
    try:
        with _opened(source) as (archive, manifest):
            database = manifest["database"]
            _extract(archive, DATABASE, str(database["sha256"]), int(database["size"]), draft, source)
            # Every document is proved before anything of the workshop is touched.
            for sha256, size in _files(manifest, source):
                _extract(archive, FOLDER + sha256, sha256, size, None, source)
        yield draft
    finally:
        draft.unlink(missing_ok=True)


def put_files(source: Path, files: Path) -> int:
    """Lay the documents of an archive into the folder of files and return how many; those there already stay.

    Raises:
        Unusable: when the archive is damaged or the folder cannot be written.
    """
    if not is_archive(source):
        return 0
    count = 0
    with _opened(source) as (archive, manifest):
        for sha256, size in _files(manifest, source):
            target = files / sha256[:2] / sha256
            count += 1
            if _content(target, sha256) is not None:
                continue
            draft = target.with_name(f"{sha256}.{secrets.token_hex(4)}.part")
            try:
                target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                _extract(archive, FOLDER + sha256, sha256, size, draft, source)
                draft.replace(target)
            except OSError as error:
                raise Unusable(f"the documents cannot be written to {files}: {error.strerror}") from error
            finally:
                draft.unlink(missing_ok=True)
    return count


@contextmanager
def _opened(source: Path) -> Iterator[tuple[zipfile.ZipFile, dict[str, Any]]]:
    try:
        with zipfile.ZipFile(source) as archive:
            if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
                raise Unusable(f"the backup {source} is not one of Tarebook")
            manifest = json.loads(archive.read(MANIFEST))
            if not isinstance(manifest, dict) or manifest.get("kind") != KIND:
                raise Unusable(f"the backup {source} is not one of Tarebook")
            if manifest.get("edition") != EDITION:
                raise Unusable(f"the backup {source} was written by a newer Tarebook; restore it with that one")
            yield archive, manifest
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, EOFError, NotImplementedError) as error:
        raise Unusable(f"the backup {source} is damaged") from error


def _files(manifest: dict[str, Any], source: Path) -> list[tuple[str, int]]:
    files = manifest["files"]
    if not isinstance(files, dict) or not all(SHA256.fullmatch(sha256) for sha256 in files):
        raise Unusable(f"the backup {source} is damaged: its manifest names something that is no document")
    return [(sha256, int(size)) for sha256, size in files.items()]


def _extract(archive: zipfile.ZipFile, name: str, sha256: str, size: int, target: Path | None, source: Path) -> None:
    """Read one entry to its end, prove its size and hash, and write it when there is a target."""
    digest, count = hashlib.sha256(), 0
    out = target.open("xb") if target is not None else None
    try:
        with archive.open(name) as entry:
            while chunk := entry.read(CHUNK):
                count += len(chunk)
                if count > size:
                    break
                digest.update(chunk)
                if out is not None:
                    out.write(chunk)
        if count != size or digest.hexdigest() != sha256:
            raise Unusable(f"the backup {source} is damaged: {name} is not what its manifest says")
        if out is not None:
            out.flush()
            os.fsync(out.fileno())
    finally:
        if out is not None:
            out.close()
