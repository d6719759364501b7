"""The ``doctor`` command tells what there is and changes nothing."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from app import __version__
from app.commands import doctor
from app.commands.cli import cli
from app.documents.render import PdfState
from app.store import migrate


def run(folder: Path) -> Result:
    return CliRunner().invoke(cli, ["doctor", "--data", str(folder)])


def test_a_sound_workshop(tmp_path: Path, migrated_file: Path) -> None:
    shutil.copy(migrated_file, tmp_path / "tarebook.db")
    answer = run(tmp_path)
    told = {line.split()[0]: line.split(maxsplit=1)[1] for line in answer.output.splitlines()}
    assert answer.exit_code == 0
    assert told["Tarebook"] == __version__
    assert told["Folder"] == str(tmp_path)
    assert told["Workshop"].startswith(f"sound, at revision {migrate.head()}")
    assert "flask" in told["Packages"]
    assert [path.name for path in tmp_path.iterdir()] == ["tarebook.db"]


def test_no_workshop_yet_is_no_fault(tmp_path: Path) -> None:
    answer = run(tmp_path / "nothing")
    assert answer.exit_code == 0
    assert "none yet; the first start makes one" in answer.output
    assert not (tmp_path / "nothing").exists()


def test_a_damaged_workshop_is_a_fault(tmp_path: Path, migrated_file: Path) -> None:
    data = migrated_file.read_bytes()
    (tmp_path / "tarebook.db").write_bytes(data[: len(data) // 2])
    answer = run(tmp_path)
    assert answer.exit_code == 1
    assert "is damaged" in answer.output


def test_the_last_backup_is_named(tmp_path: Path) -> None:
    (tmp_path / "backups").mkdir()
    for day in ("20260101", "20261124"):
        (tmp_path / "backups" / f"tarebook-{day}-120000-by-hand.db").write_bytes(b"x")
    assert "The last backup is" in run(tmp_path).output
    assert "tarebook-20261124-120000-by-hand.db" in run(tmp_path).output


def test_missing_paper_libraries_come_with_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "pdf_state", lambda: PdfState(False, "PDFs are off: install libpango-1.0-0."))
    assert "PDFs are off: install libpango-1.0-0." in run(tmp_path).output


def test_a_server_that_cannot_be_reached_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", "postgresql://me@127.0.0.1:9/book?connect_timeout=1")
    answer = run(tmp_path)
    assert answer.exit_code == 1
    assert "cannot be reached" in answer.output
