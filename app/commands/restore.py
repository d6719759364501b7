"""The ``restore`` command: a backup takes the place of the workshop, which is kept."""

from pathlib import Path

import click

from app.commands import places
from app.commands.backup import ON_A_SERVER, say_removed
from app.store import backup as copies
from app.store.errors import Unusable


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@places.DATA_OPTION
def restore(file: Path, data: Path | None) -> None:
    """Put the backup FILE in the place of the workshop. The present one is kept in the backups folder."""
    where = places.choose(data)
    try:
        if places.database_address():
            raise Unusable(ON_A_SERVER)
        with places.lock_workshop(
            where, f"Tarebook is running with the folder {where.folder}; stop it first, then restore"
        ):
            source = file.expanduser().absolute()
            kept = copies.restore(source, where.database, where.backups, places.moment())
    except Unusable as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"Restored {source}")
    if kept:
        click.echo(f"The former workshop is kept as {kept.path}")
        say_removed(kept)
