"""Opening a workshop: looked at first, copied before an upgrade, filled with the demo on the very first start."""

import logging

from sqlalchemy import Connection, func, select
from sqlalchemy.exc import SQLAlchemyError

from app.commands import places
from app.commands.places import Places
from app.store import backup, migrate
from app.store.engine import ONE_WRITER, Store, make_engine, plain_faults, sqlite_url
from app.store.errors import Unusable
from app.store.workshop import Workshop

LOG = logging.getLogger(__name__)


def open_workshop(where: Places) -> Store:
    """Open the workshop of a folder, or the one TAREBOOK_DATABASE_URL names; make it when there is none yet.

    Raises:
        Unusable: when the database is damaged, foreign, newer than this program, or cannot be brought up to date.
            It is left as it was.
    """
    address = places.database_address()
    return _open_server(address) if address else _open_file(where)


def _open_file(where: Places) -> Store:
    if where.database.exists():
        _bring_up_to_date(where)
    else:
        backup.create(where.database, lambda draft: fill(sqlite_url(draft)))
    return Store(sqlite_url(where.database))


def _bring_up_to_date(where: Places) -> None:
    try:
        revision = backup.examine(where.database)
    except Unusable as error:
        raise Unusable(f"{error}. {last_backup(where)}") from error
    if revision != migrate.head():
        kept = backup.make_backup(where.database, where.backups, backup.BEFORE_UPGRADE, places.moment())
        LOG.info("upgrading the workshop from %s; copy kept at %s", revision, kept.path)
        for old in kept.removed:
            LOG.info("removed the oldest copy of its kind: %s", old)
        _upgrade(sqlite_url(where.database), f"the copy made just before is {kept.path}")


def _upgrade(url: str, comfort: str) -> None:
    try:
        migrate.to_revision(url)
    except Exception as error:
        LOG.exception("the upgrade failed")
        raise Unusable(f"the workshop could not be brought up to date and is left as it was; {comfort}") from error


def fill(url: str) -> None:
    """Make the tables of a new workshop and put the demo into it."""
    from app.work.demo import load_demo

    migrate.to_revision(url)
    store = Store(url)
    try:
        load_demo(store)
    finally:
        store.close()


# Two first starts at once: the second waits until the first has filled the database.
LONGEST_FILL = "SET LOCAL lock_timeout = '2min'"


def _open_server(url: str) -> Store:
    engine = make_engine(url)
    try:
        with plain_faults(), engine.begin() as connection:
            connection.exec_driver_sql(LONGEST_FILL)
            connection.exec_driver_sql(ONE_WRITER)
            _bring_server_up_to_date(connection)
    finally:
        engine.dispose()
    return Store(url)


def _bring_server_up_to_date(connection: Connection) -> None:
    """Make or upgrade the tables and see that there is a workshop, all in the transaction that is open."""
    from app.work.demo import load_demo

    revision = migrate.revision_of(connection)
    if revision is not None and revision not in migrate.known_revisions():
        raise Unusable("the database that TAREBOOK_DATABASE_URL names was written by a newer Tarebook")
    if revision != migrate.head():
        LOG.info("bringing the database server from revision %s to %s", revision, migrate.head())
        migrate.to_revision_inside(connection)
    if connection.scalar(select(func.count()).select_from(Workshop)) == 0:
        load_demo(Store.inside(connection))


def server_revision(url: str) -> str | None:
    """Name the revision a database server's workshop stands at; None when it holds none.

    Raises:
        Unusable: when the server cannot be reached.
    """
    try:
        return migrate.current(url)
    except SQLAlchemyError as error:
        raise Unusable("the database that TAREBOOK_DATABASE_URL names cannot be reached") from error


def last_backup(where: Places) -> str:
    """Name the last copy, or say that there is none."""
    kept = backup.backups(where.backups)
    return f"The last backup is {kept[-1]}" if kept else f"There is no backup in {where.backups}"
