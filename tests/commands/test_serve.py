"""The real program: it starts, says where, answers on loopback only, and stops cleanly."""

import socket
import sys
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from app.commands import serve as command
from app.commands.backup import backup
from app.commands.cli import cli
from app.commands.restore import restore
from app.documents.render import PdfState
from app.store.errors import Unusable

Serve = Callable[..., Any]


def fetch(address: str, **headers: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(urllib.request.Request(address, headers=headers), timeout=20) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def attempt(folder: Path, *options: str) -> tuple[int, str]:
    """Start it where it must refuse, in this process, and give its exit status and what it says."""
    outcome = CliRunner().invoke(cli, ["serve", "--no-browser", "--data", str(folder), *options])
    assert isinstance(outcome.exception, SystemExit)
    assert outcome.stdout == ""
    return outcome.exit_code, outcome.stderr.strip()


def test_it_serves_and_stops(serve: Serve, tmp_path: Path) -> None:
    # A program that was killed leaves nothing that stops the next start.
    killed = serve(tmp_path / "a bench, été")
    assert fetch(killed.address)[0] == 200
    killed.process.kill()
    killed.process.communicate()
    served = serve(killed.folder)
    assert served.address.startswith("http://127.0.0.1:")
    status, page = fetch(served.address)
    assert status == 200
    assert "<h1" in page
    assert fetch(served.address, Host="elsewhere.example")[0] == 400

    # Connections that say nothing keep nobody out.
    with ExitStack() as idle:
        port = int(served.address.rstrip("/").rpartition(":")[2])
        for _ in range(150):
            idle.enter_context(closing(socket.create_connection(("127.0.0.1", port), timeout=5)))
        assert fetch(served.address)[0] == 200

    # A second start on the same folder is told where the first one is.
    running = f"Error: Tarebook is already running with the folder {served.folder}: {served.address}"
    assert attempt(served.folder) == (1, running)
    # While it runs it is backed up but not replaced.
    copy = tmp_path / "copy.db"
    assert CliRunner().invoke(backup, [str(copy), "--data", str(served.folder)]).exit_code == 0
    restoring = CliRunner().invoke(restore, [str(copy), "--data", str(served.folder)])
    assert restoring.exit_code == 1
    assert "stop it first, then restore" in restoring.output

    assert served.stop() == 0
    assert served.words[-1] == "Stopped."
    left = {path.name for path in served.folder.iterdir()}
    assert left == {"tarebook.db", "tarebook.log", "tarebook.lock", "secret.key"}
    log = (served.folder / "tarebook.log").read_text(encoding="utf-8")
    assert f"serving on {served.address}" in log


def test_a_port_that_is_taken_is_named(tmp_path: Path) -> None:
    with closing(command.listen(0)) as taken:
        port = taken.getsockname()[1]
        refused = attempt(tmp_path, "--port", str(port))
    assert refused == (1, f"Error: the port {port} is in use by another program; choose one with --port")


def test_without_a_wish_the_next_free_port_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with closing(command.listen(0)) as taken:
        monkeypatch.setattr(command, "PORT", taken.getsockname()[1])
        with closing(command.listen(None)) as next_one:
            assert taken.getsockname()[1] < next_one.getsockname()[1] < taken.getsockname()[1] + command.TRIES
        monkeypatch.setattr(command, "TRIES", 1)
        with pytest.raises(Unusable, match=r"the ports [0-9]+ to [0-9]+ are in use"):
            command.listen(None)


def test_it_listens_on_loopback_only() -> None:
    with closing(command.listen(0)) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"
        assert listener.family == socket.AF_INET


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"", "is empty"), (b"not a database" * 500, "is not a Tarebook workshop")],
    ids=["empty", "foreign"],
)
def test_a_file_that_is_not_a_workshop_stops_the_start(data: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / "tarebook.db").write_bytes(data)
    status, said = attempt(tmp_path, "--port", "0")
    assert status == 1
    assert words in said
    assert f"There is no backup in {tmp_path / 'backups'}" in said
    assert "Traceback" not in said
    assert (tmp_path / "tarebook.db").read_bytes() == data
    assert "did not start" in (tmp_path / "tarebook.log").read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_made_stops_the_start(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    status, said = attempt(tmp_path / "file" / "bench")
    assert status == 1
    assert "name another with --data or in the variable TAREBOOK_HOME" in said


@pytest.mark.parametrize(
    ("platform", "variables", "shown"),
    [("linux", {}, False), ("linux", {"DISPLAY": ":0"}, True), ("linux", {"WAYLAND_DISPLAY": "w"}, True),
     ("darwin", {}, True), ("win32", {}, True)],
)  # fmt: skip
def test_a_browser_is_opened_only_where_it_has_a_window(
    platform: str, variables: dict[str, str], shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    opened: list[str] = []
    monkeypatch.setattr(command.webbrowser, "open", opened.append)
    command._when_ready("http://127.0.0.1:1/", True)
    assert opened == (["http://127.0.0.1:1/"] if shown else [])


def test_no_browser_is_opened_when_none_is_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DISPLAY", ":0")
    opened: list[str] = []
    monkeypatch.setattr(command.webbrowser, "open", opened.append)
    command._when_ready("http://127.0.0.1:1/", False)
    assert not opened


def test_missing_paper_libraries_are_told_once_with_the_package(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "pdf_state", lambda: PdfState(False, "PDFs are off: install libpango-1.0-0."))
    command.tell_about_paper()
    assert capsys.readouterr().out == "PDFs are off: install libpango-1.0-0.\n"
