"""The ``demo`` command: a fresh copy of the demo workshop, apart from the person's own."""

from pathlib import Path

import click

from app.commands import places
from app.commands.places import Places
from app.commands.serve import BROWSER_OPTION, PORT_OPTION, start


@click.command("demo")
@PORT_OPTION
@click.option("--data", type=click.Path(path_type=Path), help="A new or empty folder for the demo.")
@BROWSER_OPTION
def demo(port: int | None, data: Path | None, no_browser: bool) -> None:
    """Start a fresh demo workshop in a folder of its own; your own workshop is not touched."""
    start(new_demo(data), port, browser=not no_browser, only_demonstration=True)


def new_demo(data: Path | None) -> Places:
    """Choose a folder that holds nothing yet.

    Raises:
        click.UsageError: when the folder that was named is in use.
    """
    if data is None:
        stem = f"{places.moment():%Y%m%d-%H%M%S}"
        names = (places.choose(None).demos / name for name in (stem, *(f"{stem}-{n}" for n in range(2, 1000))))
        return Places(next(folder for folder in names if not folder.exists()))
    where = places.choose(data)
    if where.folder.exists() and (not where.folder.is_dir() or any(where.folder.iterdir())):
        raise click.UsageError(f"the folder {where.folder} is not empty; a demo needs a new or empty one")
    return where
