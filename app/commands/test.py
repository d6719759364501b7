"""The ``test`` command: pytest, in the environment that was prepared for it."""

import os
import secrets
import sys

import click

from app import bootstrap

# Nothing narrowed down: the whole suite is shared out over the processors.
SPREAD = ("-n", "auto", "--dist", "worksteal")


@click.command("test", add_help_option=False, context_settings={"ignore_unknown_options": True})
@click.option("--explore", is_flag=True)
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
def test(explore: bool, arguments: tuple[str, ...]) -> None:
    """Run the tests of Tarebook; what follows is passed to pytest.

    Every run gives the same answer. With --explore the order and the examples are new ones.
    """
    os.chdir(bootstrap.ROOT)
    keep_compiled()
    # Each processor has a process of its own; threads of the linear algebra would only wait for one another.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    spread = () if arguments else SPREAD
    found = exploring(secrets.randbelow(2**32)) if explore else ()
    sys.exit(bootstrap.hand_over([sys.executable, "-m", "pytest", *spread, *found, *arguments]))


def keep_compiled() -> None:
    """Let every process of the tests find compiled code, kept with the private environment and not in the checkout."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(bootstrap.place() / "compiled")


def exploring(seed: int) -> tuple[str, ...]:
    """Return the options of pytest that take new examples in a new order, and say how to repeat the run."""
    options = ("--hypothesis-profile=explore", f"--randomly-seed={seed}", f"--hypothesis-seed={seed}")
    click.echo(f"Exploring. To repeat this run: python3 -m app test -n auto {' '.join(options)}", err=True)
    return options
