"""The command line: each command is there, imported alone, and says how it went."""

import subprocess
import sys
from importlib import import_module

import click
import pytest
from click.testing import CliRunner

from app import __version__, bootstrap
from app.commands import cli, compute

HEAVY = ("flask", "sqlalchemy", "alembic", "weasyprint", "waitress", "jinja2")


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_is_there_and_says_what_it_does(name: str) -> None:
    command = cli.cli.get_command(click.Context(cli.cli), name)
    assert command
    assert command.name == name
    assert command.help


def test_a_command_is_imported_when_asked_for_and_no_computation_needs_the_web_or_a_database() -> None:
    names = [name.replace("-", "_") for name in compute.names()]
    code = (
        "import sys; from importlib import import_module; from app.commands import cli\n"
        "for name in ('compute', 'infer-report'): cli.cli.get_command(None, name)\n"
        f"print('commands', [heavy for heavy in {HEAVY!r} if heavy in sys.modules])\n"
        f"for name in {names!r}:\n"
        "    import_module('app.commands.computations.' + name)\n"
        f"    print(name, [heavy for heavy in {HEAVY!r} if heavy in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=bootstrap.ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.splitlines() == [f"{name} []" for name in ("commands", *names)]


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ([], ["serve"]),
        (["--no-browser"], ["serve", "--no-browser"]),
        (["--port", "9000"], ["serve", "--port", "9000"]),
        (["backup"], ["backup"]),
    ],
)
def test_without_a_command_it_serves(arguments: list[str], named: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[list[str]] = []
    monkeypatch.setattr(click.Group, "parse_args", lambda _self, _ctx, args: asked.append(args) or [])
    cli.cli.parse_args(click.Context(cli.cli), arguments)
    assert asked == [named]


def test_help_names_every_command() -> None:
    page = CliRunner().invoke(cli.cli, ["--help"]).output
    assert [line.split()[0] for line in page.partition("Commands:\n")[2].splitlines()] == list(cli.COMMANDS)


def test_it_tells_its_version() -> None:
    assert __version__ in CliRunner().invoke(cli.cli, ["--version"]).output


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["--version"], 0),
        (["compute", "--list"], 0),
        (["compute", "nothing", "--schema"], 2),
        (["bake"], 2),
        (["restore"], 2),
    ],
)
def test_the_exit_status_is_passed_on(arguments: list[str], status: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(arguments) == status
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(("code", "status"), [(None, 0), (0, 0), (3, 3), ("a sentence", 1)])
def test_every_way_to_end_has_a_status(code: object, status: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def end(*_: object, **__: object) -> None:
        raise SystemExit(code)

    monkeypatch.setattr(cli.cli, "main", end)
    assert cli.run(["serve"]) == status


@pytest.mark.parametrize(
    ("arguments", "passed"),
    [
        ([], ["-n", "auto", "--dist", "worksteal"]),
        (["-k", "ph and not web", "--lf", "-x"], ["-k", "ph and not web", "--lf", "-x"]),
        (["tests/science", "--help"], ["tests/science", "--help"]),
    ],
)
def test_the_test_command_passes_its_arguments_through(
    arguments: list[str], passed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr(bootstrap, "hand_over", lambda command: started.append(command) or 5)
    assert cli.run(["test", *arguments]) == 5
    assert started == [[sys.executable, "-m", "pytest", *passed]]


def test_exploring_says_how_to_repeat_itself(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr(bootstrap, "hand_over", lambda command: started.append(command) or 0)
    cli.run(["test", "--explore", "tests/science"])
    seeds = {word.partition("seed=")[2] for word in started[0] if "seed=" in word}
    assert len(seeds) == 1
    assert "--hypothesis-profile=explore" in started[0]
    assert started[0][-1] == "tests/science"
    said = capsys.readouterr().err
    assert "python3 -m app test" in said
    assert all(word in said for word in started[0] if "seed=" in word)


def test_the_module_of_each_command_is_named_after_it() -> None:
    for name, path in cli.COMMANDS.items():
        assert path == f"app.commands.{name.replace('-', '_')}"
        assert import_module(path)
