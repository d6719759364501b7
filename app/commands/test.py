"""The ``test`` command: pytest, in the environment that was prepared for it."""

import os
import sys

import click

from app import bootstrap


@click.command("test", add_help_option=False, context_settings={"ignore_unknown_options": True})
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
def test(arguments: tuple[str, ...]) -> None:
    """Run the tests of Tarebook; what follows is passed to pytest."""
    os.chdir(bootstrap.ROOT)
    # Nothing narrowed down: share the whole suite out over the processors.
    spread = () if arguments else ("-n", "auto")
    sys.exit(bootstrap.hand_over([sys.executable, "-m", "pytest", *spread, *arguments]))
