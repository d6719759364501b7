"""The ``doctor`` command: what is installed, where things are, and whether they are sound."""

import platform
import sqlite3
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
    paper = pdf_state()
    said = {
        NAME: __version__,
        "Python": f"{platform.python_version()} on {platform.platform()}",
        "SQLite": sqlite3.sqlite_version,
        "Packages": ", ".join(f"{name} {version(name)}" for name in PACKAGES),
        "Folder": str(where.folder),
        "Log": str(where.log),
        "Backups": opening.last_backup(where),
        "Caution": places.drive_advice(where.folder),
        "Paper": "PDFs can be made" if paper.ready else paper.advice,
    }
    for heading, line in said.items():
        if line:
            click.echo(f"{heading:<12} {line}")
    good, line = database_state(where)
    click.echo(f"{'Workshop':<12} {line}")
    if not good:
        raise SystemExit(1)


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
