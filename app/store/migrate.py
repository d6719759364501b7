"""Bringing a database to the present schema, through alembic only."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from app.store.engine import make_engine

FOLDER = Path(__file__).resolve().parents[2] / "migrations"


def alembic_config(url: str) -> Config:
    """Make the alembic settings for one database; there is no ini file."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["url"] = url
    return config


def head() -> str:
    """Name the newest revision that this program knows."""
    return str(ScriptDirectory.from_config(alembic_config("")).get_current_head())


def known_revisions() -> tuple[str, ...]:
    """Name every revision that this program knows, the newest first; their numbers need not be in that order."""
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
    return MigrationContext.configure(connection).get_current_revision()


def to_revision(url: str, revision: str = "head") -> None:
    """Walk a database up to a revision, all or nothing."""
    command.upgrade(alembic_config(url), revision)


def to_revision_inside(connection: Connection, revision: str = "head") -> None:
    """Walk a database up to a revision as part of the transaction that a connection has open."""
    config = alembic_config("")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def back_to(url: str, revision: str) -> None:
    """Walk a database down to a revision, all or nothing."""
    command.downgrade(alembic_config(url), revision)
