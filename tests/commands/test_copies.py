"""The commands ``backup`` and ``restore``, as a person uses them."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from app.commands.cli import cli
from app.commands.places import Places


@pytest.fixture
def bench(tmp_path: Path, migrated_file: Path) -> Places:
    where = Places(tmp_path / "bench")
    where.folder.mkdir()
    shutil.copy(migrated_file, where.database)
    return where


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def rename(database: Path, name: str) -> None:
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("UPDATE workshop SET name=?", (name,))


def name(database: Path) -> str:
    with closing(sqlite3.connect(database)) as connection:
        return str(connection.execute("SELECT name FROM workshop").fetchone()[0])


def test_a_backup_goes_into_its_folder_and_comes_back(bench: Places) -> None:
    rename(bench.database, "before")
    made = run("backup", "--data", bench.folder)
    assert made.exit_code == 0
    (copy,) = bench.backups.iterdir()
    assert made.output == f"Backed up to {copy}\n"
    rename(bench.database, "after")
    back = run("restore", copy, "--data", bench.folder)
    assert back.exit_code == 0
    assert name(bench.database) == "before"
    (kept,) = bench.backups.glob("*-before-restore.db")
    assert back.output == f"Restored {copy}\nThe former workshop is kept as {kept}\n"
    assert name(kept) == "after"


def test_a_backup_goes_where_it_is_told_and_never_over_another(bench: Places, tmp_path: Path) -> None:
    target = tmp_path / "my copy.db"
    assert run("backup", target, "--data", bench.folder).exit_code == 0
    again = run("backup", target, "--data", bench.folder)
    assert again.exit_code == 1
    assert again.output == f"Error: the file {target} exists already; choose another name\n"


def test_a_backup_of_nothing_says_so(tmp_path: Path) -> None:
    answer = run("backup", "--data", tmp_path / "empty")
    assert answer.exit_code == 1
    assert answer.output == f"Error: there is no workshop in {tmp_path / 'empty'} yet\n"


@pytest.mark.parametrize("data", [b"", b"hello" * 999], ids=["empty", "foreign"])
def test_what_is_no_workshop_is_not_restored(data: bytes, bench: Places, tmp_path: Path) -> None:
    source = tmp_path / "copy.db"
    source.write_bytes(data)
    before = bench.database.read_bytes()
    refused = run("restore", source, "--data", bench.folder)
    assert refused.exit_code == 1
    assert str(source) in refused.output
    assert bench.database.read_bytes() == before


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_a_workshop_on_a_server_is_left_to_its_server(
    command: str, bench: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", "postgresql://bench/book")
    refused = run(command, bench.folder / "x.db", "--data", bench.folder)
    assert refused.exit_code == 1
    assert "pg_dump" in refused.output
