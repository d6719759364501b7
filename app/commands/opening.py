"""Opening a workshop: looked at first, copied before an upgrade; one's own and the demonstration, kept apart."""

import logging
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Connection, func, select
from sqlalchemy.exc import SQLAlchemyError

from app.commands import places
from app.commands.places import Places
from app.store import backup, migrate
from app.store.engine import ONE_WRITER, Store, make_engine, plain_faults, sqlite_url
from app.store.errors import Unusable
from app.store.schema import server_differences
from app.store.workshop import Workshop, the_workshop

LOG = logging.getLogger(__name__)
S = TypeVar("S", Store, Store | None)


def own_is_there(where: Places) -> bool:
    """Return whether there is a workshop of one's own, as a file of the folder or on a server."""
    return bool(places.database_address()) or where.database.exists()


def open_own(where: Places) -> Store | None:
    """Open the person's own workshop: the file of a folder, or the database TAREBOOK_DATABASE_URL names.

    Returns:
        None while there is none yet.

    Raises:
        Unusable: when the database is damaged, foreign, newer than this program, or cannot be brought up to date.
            It is left as it was.
    """
    address = places.database_address()
    if address:
        return _with_files(_open_server(address), where)
    if not where.database.exists():
        return None
    _bring_up_to_date(where)
    if _move_former_demonstration(where):
        return None
    return Store(sqlite_url(where.database))


def _with_files(store: S, where: Places) -> S:
    """Let documents lie in the folder of this machine; a database server has no place beside it."""
    if store is not None:
        store.files = where.folder / "files"
    return store


def make_own(where: Places, begin: Callable[[Store], None]) -> Store:
    """Make the person's own workshop with what ``begin`` puts into it, and open it.

    Raises:
        Unusable: when there is one already, or it cannot be written.
    """
    address = places.database_address()
    if address:
        return _with_files(_open_server(address, begin) or Store(address), where)
    if where.database.exists():
        raise Unusable(f"there is a workshop in {where.folder} already")
    backup.create(where.database, lambda draft: fill(sqlite_url(draft), begin))
    return Store(sqlite_url(where.database))


def open_demonstration(where: Places) -> Store:
    """Open the demonstration workshop of a folder; make it when there is none.

    Raises:
        Unusable: when it can neither be used nor made.
    """
    demo = where.demonstration
    places.prepare_folder(demo)
    if demo.database.exists():
        _bring_up_to_date(demo)
    else:
        _make_demonstration(demo)
    return Store(sqlite_url(demo.database))


def _make_demonstration(demo: Places) -> None:
    from app.work.demo import load_demo

    backup.create(demo.database, lambda draft: fill(sqlite_url(draft), load_demo))


def demonstration_made_aside(where: Places) -> Places:
    """Make a demonstration beside the one that is there, and return where it is.

    Raises:
        Unusable: when it cannot be made; then the one that is there is as it was.
    """
    aside = Places(where.folder / "demonstration-new")
    try:
        shutil.rmtree(aside.folder, ignore_errors=True)
        places.prepare_folder(aside)
        _make_demonstration(aside)
    except Unusable:
        shutil.rmtree(aside.folder, ignore_errors=True)
        raise
    return aside


def put_demonstration(where: Places, made: Places) -> None:
    """Put a demonstration that was made aside in its place, where none is any more.

    Raises:
        Unusable: when its folder cannot be moved.
    """
    with _told_of_files("the demonstration cannot be put in its place"):
        made.folder.replace(where.demonstration.folder)


def set_demonstration_aside(where: Places) -> Path:
    """Move a demonstration that cannot be opened out of the way, with everything in it; return where it lies now.

    Raises:
        Unusable: when its folder cannot be moved.
    """
    where.backups.mkdir(parents=True, exist_ok=True, mode=0o700)
    away = where.backups / f"demonstration-{places.moment():%Y%m%d-%H%M%S}"
    with _told_of_files("the demonstration cannot be moved away"):
        where.demonstration.folder.replace(away)
    return away


def keep_demonstration(where: Places) -> Path:
    """Copy the demonstration beside the backups of the workshop, before it is thrown away; return the copy."""
    return backup.make_backup(
        where.demonstration.database, where.backups, backup.OF_DEMONSTRATION, places.moment(), keep=3
    ).path


def remove_demonstration(where: Places) -> None:
    """Remove the demonstration with everything in its folder; nothing may have it open.

    Raises:
        Unusable: when a file of it cannot be removed.
    """
    with _told_of_files("the demonstration cannot be removed"):
        shutil.rmtree(where.demonstration.folder)


@contextmanager
def _told_of_files(what: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise Unusable(f"{what}: {error.strerror}") from error


def _move_former_demonstration(where: Places) -> bool:
    """Give a demonstration of a former release, which lay where one's own workshop lies, its place; tell if it did."""
    store = Store(sqlite_url(where.database))
    try:
        with store.reading() as session:
            is_demo = the_workshop(session).is_demo
    finally:
        store.close()
    if not is_demo or where.holder != where or where.demonstration.database.exists():
        return False
    places.prepare_folder(where.demonstration)
    backup.move(where.database, where.demonstration.database)
    documents = where.folder / "files"
    if documents.exists():
        with _told_of_files("the documents of the demonstration cannot be moved to it"):
            documents.replace(where.demonstration.folder / "files")
    LOG.info("the demonstration now lies in %s", where.demonstration.folder)
    return True


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
        try:
            migrate.to_revision(sqlite_url(where.database))
        except Exception as error:
            LOG.exception("the upgrade failed")
            raise Unusable(
                "the workshop could not be brought up to date and is left as it was; "
                f"the copy made just before is {kept.path}"
            ) from error


def fill(url: str, begin: Callable[[Store], None]) -> None:
    """Make the tables of a new workshop and put in what it begins with."""
    migrate.to_revision(url)
    store = Store(url)
    try:
        begin(store)
    finally:
        store.close()


# Two first starts at once: the second waits until the first has filled the database.
LONGEST_FILL = "SET LOCAL lock_timeout = '2min'"


def _open_server(url: str, begin: Callable[[Store], None] | None = None) -> Store | None:
    """Open the workshop of a database server; begin it where there is none and that is asked for."""
    engine = make_engine(url)
    try:
        with plain_faults(), engine.begin() as connection:
            connection.exec_driver_sql(LONGEST_FILL)
            connection.exec_driver_sql(ONE_WRITER)
            there = _bring_server_up_to_date(connection)
            if not there and begin:
                begin(Store.inside(connection))
    finally:
        engine.dispose()
    return Store(url) if there or begin else None


def _bring_server_up_to_date(connection: Connection) -> bool:
    """Make or upgrade the tables in the transaction that is open; tell whether there is a workshop in them."""
    revision = migrate.revision_of(connection)
    if revision is not None and revision not in migrate.known_revisions():
        raise Unusable("the database that TAREBOOK_DATABASE_URL names was written by a newer Tarebook")
    if revision != migrate.head():
        LOG.info("bringing the database server from revision %s to %s", revision, migrate.head())
        migrate.to_revision_inside(connection)
    found = server_differences(connection)
    if found:
        raise Unusable(
            "the database that TAREBOOK_DATABASE_URL names is not as Tarebook makes it: "
            f"{', '.join(found[: backup.MOST_NAMED])}; bring back a copy of it, or mend what is named"
        )
    return bool(connection.scalar(select(func.count()).select_from(Workshop)))


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
