"""Backups made from a page: which there are, which is the last, and making one more."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import make_url

from app.store import backup
from app.store.engine import Store
from app.store.errors import NotFound, Unusable
from app.work.clock import now

REASONS = {
    backup.BY_HAND: "made by hand",
    backup.BEFORE_UPGRADE: "made before an upgrade",
    backup.BEFORE_RESTORE: "made before a restore",
}


@dataclass(frozen=True, slots=True)
class KeptBackup:
    """A backup: its file, when it was made, why, and its size in bytes."""

    path: Path
    made_at: datetime
    why: str
    size: int


def database_file(store: Store) -> Path | None:
    """Return the file the workshop is kept in; None when it is on a database server."""
    url = make_url(store.url)
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None


def backup_folder(store: Store) -> Path | None:
    """Return the folder backups are kept in; None when the workshop is on a database server."""
    file = database_file(store)
    return file.parent / "backups" if file else None


def list_backups(store: Store) -> list[KeptBackup]:
    """Return the backups, newest first."""
    folder = backup_folder(store)
    found = []
    for path in reversed(backup.backups(folder)) if folder else ():
        state = path.stat()
        why = next((words for sign, words in REASONS.items() if sign in path.name), "")
        found.append(KeptBackup(path, datetime.fromtimestamp(state.st_mtime, UTC), why, state.st_size))
    return found


def make_backup(store: Store) -> backup.Backup:
    """Make a backup now, checked, beside the others; return it with those that made room for it.

    Raises:
        Unusable: when it cannot be made, or the workshop is on a database server.
    """
    file, folder = database_file(store), backup_folder(store)
    if file is None or folder is None:
        raise Unusable("This workshop is kept on a database server; back it up with that server's own tool.")
    return backup.make_backup(file, folder, backup.BY_HAND, now())


def find_backup(store: Store, name: str) -> Path:
    """Return a backup by its file name; only names that are in the list are found.

    Raises:
        NotFound: when there is none of this name.
    """
    found = next((kept.path for kept in list_backups(store) if kept.path.name == name), None)
    if found is None:
        raise NotFound("There is no such backup.")
    return found
