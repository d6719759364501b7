"""The ``add`` command: what is not needed by everybody."""

import click

from app.bootstrap import EXTRAS
from app.work.label_reading.photo import photo_reading_trouble


@click.command("add")
@click.argument("what", type=click.Choice(EXTRAS))
def add(what: str) -> None:
    """Add an optional part, such as photo-reading: names read off the picture of a label, all on this machine.

    The part is fetched before this command runs, as all packages are; here it is tried.
    """
    trouble = photo_reading_trouble()
    if trouble:
        raise click.ClickException(trouble)
    click.echo(f"{what} is ready; start Tarebook anew to use it.")
