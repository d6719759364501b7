"""The manual tells what there is: every command and every setting, and nothing that is not there."""

import re
import tomllib
from itertools import chain
from pathlib import Path

import click
import pytest

from app.commands import cli

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FOR_THE_SUITE = {"TAREBOOK_TEST_POSTGRESQL", "TAREBOOK_CHROMIUM"}


def settings() -> set[str]:
    """Name every environment variable that the program reads."""
    text = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "app").rglob("*.py"))
    return set(re.findall(r"\bTAREBOOK_[A-Z_]+\b", text))


def told() -> list[list[str]]:
    """Find every command line of the manual, as words."""
    lines = re.findall(r"python3 -m app(?: ([^\n`<]+))?", README + DEVELOPERS)
    return [line.split() for line in lines if line]


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_is_in_the_readme(name: str) -> None:
    assert re.search(rf"python3 -m app {name}\b", README)


def test_every_command_line_of_the_manual_is_there() -> None:
    assert {words[0] for words in told()} <= set(cli.COMMANDS)


def test_every_option_of_the_manual_is_there() -> None:
    for name, *words in told():
        command = cli.cli.get_command(click.Context(cli.cli), name)
        assert command
        known = {option for parameter in command.params for option in parameter.opts}
        named = {word for word in words if word.startswith("--")}
        assert name == "test" or named <= known, (name, named - known)


def test_every_setting_is_in_the_readme() -> None:
    assert {name for name in settings() if name not in README} == set()


def test_no_setting_of_the_manual_is_invented() -> None:
    mentioned = set(re.findall(r"\bTAREBOOK_[A-Z_]+\b", README + DEVELOPERS))
    assert mentioned <= settings() | FOR_THE_SUITE


def test_every_place_the_manual_names_is_there() -> None:
    places = re.findall(r"`((?:app|tests|templates|static|seed_data|migrations)/[\w./-]*)`", README + DEVELOPERS)
    assert places
    assert not [place for place in places if not (ROOT / place).exists()]


def test_every_dependency_has_its_reason() -> None:
    table = DEVELOPERS.partition("Why each dependency is there")[2]
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    listed = (data["project"]["dependencies"], data["dependency-groups"]["test"])
    needed = [re.split(r"[^a-z0-9-]", line)[0] for line in chain(*listed)]
    assert len(needed) > 20
    assert not [name for name in needed if not re.search(rf"\b{name}\b", table)]
