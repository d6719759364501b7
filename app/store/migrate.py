"""Bringing a database to the present schema, through alembic only.

A start asks which revision is the newest and what its schema is. Both are written down beside the migrations, so that
alembic is imported, and the migrations are walked, only where there is something to bring up to date.
"""

import json
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection

from app.store.engine import make_engine

if TYPE_CHECKING:
    from alembic.config import Config

FOLDER = Path(__file__).resolve().parents[2] / "migrations"
WRITTEN = FOLDER / "newest.json"


def alembic_config(url: str) -> "Config":
    """Make the alembic settings for one database; there is no ini file."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["url"] = url
    return config


def migration_files() -> list[str]:
    """Name the files of the migrations, in order."""
    return sorted(path.name for path in (FOLDER / "versions").glob("*.py"))


@cache
def written_down() -> dict[str, Any] | None:
    """Return the ``files``, ``revisions`` and newest ``schema`` as they were written down; None if of other files."""
    written: dict[str, Any] = json.loads(WRITTEN.read_text(encoding="utf-8"))
    return written if written["files"] == migration_files() else None


def head() -> str:
    """Name the newest revision that this program knows."""
    return known_revisions()[0]


def known_revisions() -> tuple[str, ...]:
    """Name every revision that this program knows, the newest first; their numbers need not be in that order."""
    written = written_down()
    return tuple(written["revisions"]) if written else walked_revisions()


def walked_revisions() -> tuple[str, ...]:
    """Name every revision, the newest first, as the migrations themselves have it."""
    from alembic.script import ScriptDirectory

    return tuple(r.revision for r in ScriptDirectory.from_config(alembic_config("")).walk_revisions())


def current(url: str) -> str | None:
    """Name the revision a database stands at; None for an empty one."""
    engine = make_engine(url)
    try:
        with engine.connect() as connection:
            return revision_of(connection)
    finally:
        engine.dispose()


def revision_of(connection: Connection) -> str | None:
    """Return the revision that a connection's database stands at; None for an empty one."""
    from alembic.runtime.migration import MigrationContext

    return MigrationContext.configure(connection).get_current_revision()


def to_revision(url: str, revision: str = "head") -> None:
    """Walk a database up to a revision, all or nothing."""
    from alembic import command

    command.upgrade(alembic_config(url), revision)


def to_revision_inside(connection: Connection, revision: str = "head") -> None:
    """Walk a database up to a revision as part of the transaction that a connection has open."""
    from alembic import command

    config = alembic_config("")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def back_to(url: str, revision: str) -> None:
    """Walk a database down to a revision, all or nothing."""
    from alembic import command

    command.downgrade(alembic_config(url), revision)
