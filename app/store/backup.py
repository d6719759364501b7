"""Copies of a SQLite workshop file: looking at one, making one, putting one back.

A database in WAL mode is more than its one file, so a copy is always made through SQLite's own backup interface
(SQLite manual, "Online Backup API" and "How To Corrupt An SQLite Database File", sections 1.2 to 1.4).
"""

import contextlib
import os
import re
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from app.store import archive, migrate
from app.store.engine import APPLICATION_ID, plain_faults
from app.store.errors import Unusable
from app.store.schema import differences, schema_at, schema_of

HEADER = b"SQLite format 3\x00"
SIDE_FILES = ("-wal", "-shm", "-journal")
BY_HAND, BEFORE_UPGRADE, BEFORE_RESTORE = "by-hand", "before-upgrade", "before-restore"
OF_DEMONSTRATION = "of-the-demonstration"
KEEP = 20
# The moment in UTC, then a number that counts the copies of the folder: clocks are put right, the count only grows.
NAME = re.compile(r"tarebook-(\d{8}-\d{6})(?:-(\d{4,}))?(?:-\d{1,3})?-([a-z-]+)\.(?:db|zip)")
SECONDS_OF_A_DEAD_DRAFT = 600
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy that was just made, the older ones of its kind that made room for it, and documents it could not hold."""

    path: Path
    removed: tuple[Path, ...]
    missing: tuple[str, ...] = ()


def examine(database: Path, *, thorough: bool = False) -> str:
    """Look at a file without changing it and return the revision it stands at.

    Args:
        database: the file.
        thorough: check every index and every reference as well.

    Raises:
        Unusable: when it is missing, empty, foreign, damaged, newer than this program, or not as this program makes it.
    """
    _check_header(database)
    with _plain_words(database), closing(_open_to_look(database)) as connection:
        if connection.execute("PRAGMA application_id").fetchone() != (APPLICATION_ID,):
            raise Unusable(f"the file {database} belongs to another program")
        _check_integrity(database, connection, thorough)
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        revision = str(row[0]) if row else ""
        if revision not in migrate.known_revisions():
            raise Unusable(
                f"the file {database} was written by a newer Tarebook; start that one, this one leaves it alone"
            )
        found = differences(schema_of(connection), schema_at(revision))
        if found:
            more = f", and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
            raise Unusable(f"the file {database} is not as Tarebook makes it: {', '.join(found[:MOST_NAMED])}{more}")
        if connection.execute("SELECT count(*) FROM workshop").fetchone() != (1,):
            raise Unusable(f"the file {database} holds no workshop")
    return revision


def _check_header(database: Path) -> None:
    try:
        with database.open("rb") as file:
            start = file.read(len(HEADER))
    except OSError as error:
        raise Unusable(f"the file {database} cannot be read: {error.strerror}") from error
    if not start:
        raise Unusable(f"the file {database} is empty, it holds nothing at all")
    if start != HEADER:
        raise Unusable(f"the file {database} is not a Tarebook workshop, or its beginning is damaged")


def _check_integrity(database: Path, connection: sqlite3.Connection, thorough: bool) -> None:
    check = "integrity_check" if thorough else "quick_check"
    if connection.execute(f"PRAGMA {check}(1)").fetchone() != ("ok",):
        raise Unusable(f"the file {database} is damaged")
    if thorough and connection.execute("PRAGMA foreign_key_check").fetchone():
        raise Unusable(f"the file {database} has records that point to nothing")


def _open(database: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{database.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None)
    # A damaged file may hold text that is none.
    connection.text_factory = lambda data: data.decode("utf-8", "replace")
    try:
        connection.execute("PRAGMA trusted_schema=OFF")
    except sqlite3.DatabaseError:
        connection.close()
        raise
    return connection


def _open_to_look(database: Path) -> sqlite3.Connection:
    # Without a log beside it nobody is writing the file; then no new log is laid beside it either.
    in_use = database.with_name(database.name + "-wal").exists()
    return _open(database, "ro" if in_use else "ro&immutable=1")


def _open_to_copy(database: Path) -> sqlite3.Connection:
    """Open a workshop that may be in use; where its folder cannot be written, as it lies there."""
    _check_header(database)
    connection = _open(database, "rw")
    try:
        connection.execute("PRAGMA busy_timeout=5000")
        connection.execute("SELECT 1 FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError as error:
        connection.close()
        if not isinstance(error, sqlite3.OperationalError):
            raise
        return _open_to_look(database)
    return connection


@contextmanager
def _plain_words(database: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:
        raise Unusable(f"the file {database} cannot be used: {error}") from error
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise Unusable(f"the file {database} is damaged") from error
    except OSError as error:
        raise Unusable(f"{error.filename or database} cannot be written: {error.strerror}") from error


def backups(folder: Path, why: str = "") -> list[Path]:
    """Return the copies in a folder that this program named, oldest first; only those of one kind if that is asked."""
    return [path for name, path in _named(folder) if not why or name[3] == why]


def _named(folder: Path) -> list[tuple[re.Match[str], Path]]:
    found = ((NAME.fullmatch(path.name), path) for path in folder.glob("tarebook-*"))
    return sorted(((name, path) for name, path in found if name), key=_order)


def _order(named: tuple[re.Match[str], Path]) -> tuple[int, str, int, str]:
    # Copies of former releases carry no number and come first; those of one second may carry a suffix.
    name, path = named
    return int(name[2] or 0), name[1], len(path.name), path.name


def make_backup(database: Path, folder: Path, why: str, moment: datetime, *, keep: int = KEEP) -> Backup:
    """Copy a workshop into a folder under a dated name, and let the oldest of that kind make room.

    Args:
        database: the workshop; it may be in use.
        folder: where the copies are; it is made when it is missing.
        why: the kind, a word of the name.
        moment: now, in UTC.
        keep: how many of the kind stay, this one among them. It is never removed itself.

    Raises:
        Unusable: when the copy cannot be written or does not pass its check.
    """
    with _plain_words(database):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with closing(_open_to_copy(database)) as connection:
            suffix = "zip" if archive.documents_of(connection) else "db"
    made = back_up_to(database, _free_name(folder, moment, why, suffix))
    return replace(made, removed=tuple(_prune(folder, why, keep, made.path)))


def _prune(folder: Path, why: str, keep: int, made: Path) -> Iterator[Path]:
    others = [path for path in backups(folder, why) if path != made]
    for old in others[: max(0, len(others) - keep + 1)]:
        with contextlib.suppress(OSError):
            old.unlink()
            yield old


def _free_name(folder: Path, moment: datetime, why: str, suffix: str = "db") -> Path:
    number = max((int(name[2] or 0) for name, _ in _named(folder)), default=0) + 1
    while (name := folder / f"tarebook-{moment:%Y%m%d-%H%M%S}-{number:04d}-{why}.{suffix}").exists():
        number += 1
    return name


def back_up_to(database: Path, target: Path) -> Backup:
    """Copy a workshop, also one in use, into one checked file that never replaces another.

    With documents it is an archive of the database and every document, each proved by its hash; documents whose files
    are missing or damaged are named in what is returned.

    Raises:
        Unusable: when the target exists, cannot be written, or the copy does not pass its check.
    """
    if target.exists():
        raise Unusable(f"the file {target} exists already; choose another name")
    with _plain_words(database), closing(_open_to_copy(database)) as source, _draft(target) as draft:
        _copy_and_check(source, draft)
        with closing(_open_to_look(draft)) as copy:
            documents = archive.documents_of(copy)
        if not documents:
            _publish(draft, target)
            return Backup(target, ())
        packed = draft.with_name(draft.name + "-archive")
        try:
            missing = archive.pack(draft, documents, database.parent / "files", packed).missing
            packed.chmod(0o600)
            _publish(packed, target)
        finally:
            packed.unlink(missing_ok=True)
    return Backup(target, (), missing)


def remove_dead_drafts(folder: Path) -> None:
    """Remove what killed copies left half written: drafts that nothing has written to for ten minutes."""
    for draft in folder.glob("*.part*"):
        with contextlib.suppress(OSError):
            if time.time() - draft.stat().st_mtime > SECONDS_OF_A_DEAD_DRAFT:
                draft.unlink()


@contextmanager
def _draft(target: Path) -> Iterator[Path]:
    draft = target.with_name(target.name + ".part")
    remove_dead_drafts(target.parent)
    try:
        with _plain_words(target):
            _remove(draft)
            # For its owner only, before anything of the workshop is in it.
            os.close(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
            yield draft
    finally:
        with contextlib.suppress(OSError):
            _remove(draft)


def _remove(database: Path) -> None:
    for suffix in ("", *SIDE_FILES):
        database.with_name(database.name + suffix).unlink(missing_ok=True)


def _copy_and_check(source: sqlite3.Connection, draft: Path) -> None:
    with closing(_open(draft, "rw")) as copy:
        source.backup(copy)
        # One file that is whole by itself: without this the copy would ask for a log beside it.
        copy.execute("PRAGMA journal_mode=DELETE")
        _check_integrity(draft, copy, thorough=True)
    with draft.open("r+b") as file:
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _publish(draft: Path, target: Path) -> None:
    try:
        os.link(draft, target)
    except FileExistsError as error:
        raise Unusable(f"the file {target} exists already; choose another name") from error
    except OSError:
        # Memory sticks often know no links; there the name was found free a moment ago.
        draft.replace(target)
    _flush_folder(target.parent)


def restore(source: Path, database: Path, folder: Path, moment: datetime) -> Backup | None:
    """Put a copy in the place of the workshop file; return where the former one was kept, if there was one.

    The documents of an archive are proved by their hashes and laid beside it; those that are there already stay.

    Args:
        source: the copy; it is checked and stays as it is.
        database: the workshop file; nothing may have it open.
        folder: where the former file is kept.
        moment: now in UTC, for the name of the kept file.

    Raises:
        Unusable: when the copy is not whole or the workshop file is in use; then nothing has changed.
    """
    with _plain_words(database), archive.unpacked(source, database) as plain, _draft(database) as draft:
        examine(plain, thorough=True)
        with closing(_open_to_look(plain)) as copy:
            _copy_and_check(copy, draft)
        archive.put_files(source, database.parent / "files")
        kept = _keep_former(database, folder, moment) if database.exists() else None
        for suffix in SIDE_FILES:
            database.with_name(database.name + suffix).unlink(missing_ok=True)
        draft.replace(database)
        _flush_folder(database.parent)
    return kept


def _keep_former(database: Path, folder: Path, moment: datetime) -> Backup:
    try:
        _settle(database)
        return make_backup(database, folder, BEFORE_RESTORE, moment)
    except sqlite3.OperationalError as error:
        raise Unusable(f"the file {database} is in use; stop Tarebook first, then restore") from error
    except (sqlite3.DatabaseError, UnicodeDecodeError, Unusable):
        kept = _free_name(folder, moment, f"{BEFORE_RESTORE}-damaged")
        kept.parent.mkdir(parents=True, exist_ok=True)
        for suffix in ("", *SIDE_FILES):
            beside = database.with_name(database.name + suffix)
            if beside.exists():
                shutil.copy2(beside, kept.with_name(kept.name + suffix))
        return Backup(kept, ())


def _settle(database: Path) -> None:
    """Bring the log into the file; fails while somebody else has it open."""
    with closing(_open(database, "rw")) as connection:
        connection.execute("PRAGMA journal_mode=DELETE").fetchone()


def move(database: Path, target: Path) -> None:
    """Move a workshop file that nobody has open to another folder of the same disk, whole.

    Raises:
        Unusable: when it cannot be moved; then it lies where it was.
    """
    with _plain_words(database):
        _settle(database)
        database.replace(target)
        _flush_folder(target.parent)
        _flush_folder(database.parent)


def create(database: Path, fill: Callable[[Path], None]) -> None:
    """Make a workshop file under another name and give it its own name when it is whole.

    A start that is killed while it fills a new file leaves nothing that the next one would take for a workshop.

    Args:
        database: the file that is to be.
        fill: makes the tables and the first records in the file it is given, and closes it.

    Raises:
        Unusable: when the file cannot be written.
    """
    with plain_faults(), _draft(database) as draft:
        fill(draft)
        _settle(draft)
        _publish(draft, database)
