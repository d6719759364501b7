"""The ``check`` command: style, types and tests, as they are checked before a change is taken."""

import subprocess
import sys

import click

from app import bootstrap
from app.commands.test import SPREAD, keep_compiled

STEPS = (
    ("style", ("ruff", "check", ".")),
    ("layout of the code", ("ruff", "format", "--check", ".")),
    ("types", ("mypy",)),
    ("tests", ("pytest", *SPREAD)),
)


@click.command("check")
@click.option("--quick", is_flag=True, help="Leave the tests out.")
def check(quick: bool) -> None:
    """Check style, layout, types and tests; every step runs, and those that fail are named at the end."""
    keep_compiled()
    failed = [name for name, step in STEPS if not (quick and name == "tests") and not passes(name, step)]
    if failed:
        raise click.ClickException(f"not in order: {', '.join(failed)}")
    click.echo("Everything is in order.")


def passes(name: str, step: tuple[str, ...]) -> bool:
    """Run one step and return whether it found nothing."""
    click.echo(f"Checking {name}")
    sys.stdout.flush()
    return subprocess.run([sys.executable, "-m", *step], cwd=bootstrap.ROOT, check=False).returncode == 0  # noqa: S603
