"""The commands of ``python3 -m app``, each imported only when it is asked for."""

import importlib
import sys
from collections.abc import Sequence

import click

from app import NAME, __version__

COMMANDS = {
    "serve": "app.commands.serve",
    "demo": "app.commands.demo",
    "backup": "app.commands.backup",
    "restore": "app.commands.restore",
    "compute": "app.commands.compute",
    "infer-report": "app.commands.infer_report",
    "laws": "app.commands.laws",
    "add": "app.commands.add",
    "doctor": "app.commands.doctor",
    "stock": "app.commands.stock",
    "large": "app.commands.large",
    "test": "app.commands.test",
    "check": "app.commands.check",
    "mutate": "app.commands.mutate",
}
OWN_OPTIONS = ("--help", "--version")


class Commands(click.Group):
    """A group whose commands are modules; without a command it serves."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the help page."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command that was asked for; its function bears the name of its module."""
        path = COMMANDS.get(cmd_name)
        return getattr(importlib.import_module(path), path.rpartition(".")[2]) if path else None

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Serve when no command is named."""
        named = bool(args) and (not args[0].startswith("-") or args[0] in OWN_OPTIONS)
        return super().parse_args(ctx, args if named else ["serve", *args])


@click.group(cls=Commands, name="app")
@click.version_option(__version__, prog_name=NAME)
def cli() -> None:
    """Tarebook, the book beside the scale. Without a command it starts and opens in the browser."""


def run(arguments: Sequence[str]) -> int:
    """Run one command line and give its exit status."""
    try:
        cli.main(list(arguments), prog_name="python3 -m app")
    except SystemExit as end:
        code = end.code
        if code is None or isinstance(code, int):
            return code or 0
        click.echo(code, err=True)
        return 1
    return 0


def main() -> None:
    """Run the command line of this process."""
    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
