"""The ``doctor`` command: what is installed, where things are, and whether they are sound."""

import platform
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import click

from app import NAME, __version__
from app.commands import opening, places
from app.commands.places import Places
from app.documents.render import pdf_state
from app.store import backup, migrate
from app.store.errors import Unusable

PACKAGES = ("flask", "sqlalchemy", "alembic", "pint", "weasyprint", "waitress")


@click.command("doctor")
@places.DATA_OPTION
def doctor(data: Path | None) -> None:
    """Tell the versions, the folders, the state of the workshop file, the last backup and whether PDFs work."""
    where = places.choose(data)
    for heading, line in [*_versions(), *_folders(where), *_paper()]:
        click.echo(f"{heading:<12} {line}")
    good, line = database_state(where)
    click.echo(f"{'Workshop':<12} {line}")
    if not good:
        raise SystemExit(1)


def _versions() -> Iterator[tuple[str, str]]:
    yield NAME, __version__
    yield "Python", f"{platform.python_version()} on {platform.platform()}"
    yield "SQLite", sqlite3.sqlite_version
    yield "Packages", ", ".join(f"{name} {version(name)}" for name in PACKAGES)


def _folders(where: Places) -> Iterator[tuple[str, str]]:
    yield "Folder", str(where.folder)
    yield "Log", str(where.log)
    yield "Backups", opening.last_backup(where)
    if advice := places.drive_advice(where.folder):
        yield "Caution", advice


def _paper() -> Iterator[tuple[str, str]]:
    state = pdf_state()
    yield "Paper", "PDFs can be made" if state.ready else state.advice


def database_state(where: Places) -> tuple[bool, str]:
    """Look at the workshop thoroughly without changing it; say whether it is sound, and more in words."""
    try:
        address = places.database_address()
        if address:
            return True, f"in a PostgreSQL database, at revision {opening.server_revision(address)}"
        if not where.database.exists():
            return True, "none yet; the first start makes one"
        revision = backup.examine(where.database, thorough=True)
    except Unusable as error:
        return False, str(error)
    changed = datetime.fromtimestamp(where.database.stat().st_mtime, UTC)
    return True, f"sound, at revision {revision} of {migrate.head()}, last written {changed:%Y-%m-%d %H:%M} UTC"
