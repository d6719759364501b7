"""The ``stock`` command: the ledger of every lot added up, against what is kept as on hand."""

from pathlib import Path

import click

from app.commands import opening, places
from app.science.numbers import plain
from app.store.errors import NotFound, Unusable
from app.work.stock.ledger import check_ledger, rebuild_on_hand


@click.command("stock")
@click.option("--repair", is_flag=True, help="Set what is on hand to what the ledger says.")
@places.DATA_OPTION
def stock(repair: bool, data: Path | None) -> None:
    """Add up the ledger of every lot and name those whose amount on hand differs."""
    where = places.choose(data)
    try:
        store = opening.open_own(where)
        if store is None:
            raise NotFound(f"there is no workshop in {where.folder} yet")
    except (NotFound, Unusable) as error:
        raise click.ClickException(str(error)) from error
    try:
        lots, faults = check_ledger(store)
        click.echo(f"{lots} {'lot' if lots == 1 else 'lots'}, {len(faults)} differing from the ledger")
        for fault in faults:
            click.echo(f"{fault.code}: {plain(fault.on_hand)} on hand, {plain(fault.by_the_ledger)} by the ledger")
        if faults and repair:
            click.echo(f"{rebuild_on_hand(store)} put right")
    finally:
        store.close()
    if faults and not repair:
        raise SystemExit(1)
