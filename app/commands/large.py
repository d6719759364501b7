"""The ``large`` command: a workshop as large as five busy years leave it, to measure the program on."""

from pathlib import Path

import click

from app.commands import opening, places
from app.commands.demo import new_demo
from app.store import backup
from app.store.engine import sqlite_url
from app.store.errors import Unusable
from app.work.large_workshop import make_large, size_of


@click.command("large")
@click.option("--data", type=click.Path(path_type=Path), required=True, help="A new or empty folder.")
@click.option("--size", type=click.FloatRange(0.001, 4), default=1.0, show_default=True, help="Part of the whole.")
def large(data: Path, size: float) -> None:
    """Make a large invented workshop in an empty folder, to measure on: 50,000 batches and what they leave."""
    where = new_demo(data)
    try:
        places.prepare_folder(where)
        backup.create(
            where.database, lambda draft: opening.fill(sqlite_url(draft), lambda store: make_large(store, size))
        )
    except Unusable as error:
        raise click.ClickException(str(error)) from error
    made = size_of(size)
    click.echo(
        f"{made.materials:,} materials, {made.formulas:,} formulas, {made.batches:,} batches and {made.moves:,} moves "
        f"of stock in {where.folder}"
    )
