"""The ``backup`` command: one checked file that holds the whole workshop."""

from pathlib import Path

import click

from app.commands import places
from app.commands.places import Places
from app.store import backup as copies
from app.store.backup import Backup
from app.store.errors import NotFound, Unusable

ON_A_SERVER = "the workshop is in a PostgreSQL database; copy it with that server's own tool, pg_dump"


@click.command("backup")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@places.DATA_OPTION
def backup(file: Path | None, data: Path | None) -> None:
    """Copy the workshop to FILE, or into its backups folder. It may be running meanwhile."""
    try:
        made = back_up(places.choose(data), file)
    except (NotFound, Unusable) as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"Backed up to {made.path}")
    say_removed(made)


def say_removed(made: Backup) -> None:
    """Name the older copies that made room for a new one, and documents it could not hold."""
    if made.missing:
        click.echo(
            f"The files of {len(made.missing)} documents are missing or damaged, so they are not in it.", err=True
        )
    for path in made.removed:
        click.echo(f"Removed the oldest of its kind: {path}")


def back_up(where: Places, file: Path | None) -> Backup:
    """Copy the workshop of a folder and return the new copy.

    Raises:
        NotFound: when there is no workshop yet.
        Unusable: when the copy cannot be made, or the workshop is in a database server.
    """
    if places.database_address():
        raise Unusable(ON_A_SERVER)
    if not where.database.exists():
        raise NotFound(f"there is no workshop in {where.folder} yet")
    if file:
        return copies.back_up_to(where.database, file.expanduser().absolute())
    return copies.make_backup(where.database, where.backups, copies.BY_HAND, places.moment())
