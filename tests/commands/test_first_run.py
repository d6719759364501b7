"""What a newcomer gets from one command: the demonstration at once, and a workshop of their own from its first page."""

import re
import signal
import socket
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from werkzeug.test import Client

from app.commands import demo, serve
from app.commands.cli import cli
from app.commands.places import Places
from app.commands.site import Site
from app.store.engine import Store, sqlite_url
from app.store.workshop import the_workshop

Serve = Callable[..., Any]


def page(address: str, **form: str) -> tuple[str, str]:
    """Open a page, or send a form to it; give where it ended and what it says."""
    data = urllib.parse.urlencode(form).encode() if form else None
    with urllib.request.urlopen(address, data, timeout=120) as answer:
        return answer.url, str(answer.read().decode())


def workshop_name(database: Path) -> str:
    store = Store(sqlite_url(database))
    with store.reading() as session:
        name = the_workshop(session).name
    store.close()
    return name


def test_from_the_first_start_to_a_workshop_of_ones_own_and_back(
    serve: Serve, demonstration_in: Callable[[Path], Path], tmp_path: Path
) -> None:
    where = Places(demonstration_in(tmp_path / "bench"))
    served = serve(where.folder, "serve")
    # The address that is printed shows the demonstration at once.
    demonstration, first = page(served.address)
    assert demonstration == served.address
    assert workshop_name(where.demonstration.database) in first
    assert first.count('href="/start"') == 1
    assert page(f"{served.address}formulas")[1].count('href="/start"') == 1
    assert not where.database.exists()

    # A slip is told at its field, and what was typed stays.
    with pytest.raises(urllib.error.HTTPError, match="422") as refused:
        page(f"{demonstration}start", name="The shed", currency="EUR", scale_step="1 kg", scale_load="2 g")
    with refused.value as answer:
        assert "The shed" in answer.read().decode()
    assert not where.database.exists()

    ready = page(f"{demonstration}start", name="The shed", currency="JPY", scale_step="0.1", scale_load="2 kg")[1]
    (own_address,) = set(re.findall(r'href="(http://[^"]+/)"', ready)) - {demonstration}
    own = page(own_address)[1]
    assert "The shed" in own
    assert workshop_name(where.demonstration.database) not in own
    assert f'href="{demonstration}"' in own
    assert f'href="{own_address}"' in page(demonstration)[1]
    for path in ("formulas", "materials", "batches"):
        assert not re.search(rf'href="/{path}/\d', page(own_address + path)[1])

    # Thrown away with everything, from one's own; a copy is kept; then made afresh.
    gone = page(f"{own_address}demonstration/discard", sure="yes")[1]
    assert "It was removed." in gone
    assert not where.demonstration.folder.exists()
    (copy,) = where.backups.glob("*-of-the-demonstration.zip")
    assert copy.exists()
    assert page(demonstration)[0] == own_address
    page(f"{own_address}demonstration/afresh", sure="yes")
    assert "Start my own" not in page(demonstration)[1]
    assert workshop_name(where.database) == "The shed"
    assert served.stop() == 0

    # The next start opens one's own.
    again = serve(where.folder, "serve")
    assert "The shed" in page(again.address)[1]
    # Ctrl-C ends it without an error.
    assert again.stop(signal.SIGINT) == 0
    assert again.words[-1] == "Stopped."
    assert not any("Traceback" in line for line in again.words)
    assert any("The demonstration is at" in line for line in again.words)


def test_a_workshop_of_ones_own_from_the_command_line(serve: Serve, tmp_path: Path) -> None:
    where = Places(tmp_path / "bench")
    served = serve(where.folder, "serve", "--own", "The shed", "--law", "US", "--currency", "CAD")
    assert "The shed" in page(served.address)[1]
    assert not where.demonstration.folder.exists()
    store = Store(sqlite_url(where.database))
    with store.reading() as session:
        shop = the_workshop(session)
        assert (shop.currency, shop.jurisdiction) == ("CAD", "US")
        assert any(f"kept in CAD, under US law, on {shop.paper.value} paper" in line for line in served.words)
    store.close()


def test_a_demonstration_alone_offers_nothing_of_ones_own(
    demonstration_in: Callable[[Path], Path], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    where = Places(demonstration_in(tmp_path / "bench"))
    shown: list[str] = []

    def ask(site: Site, _where: Places, listeners: list[socket.socket], *_: object) -> None:
        (only,) = listeners
        shown.append(Client(site).get("/", base_url=f"http://127.0.0.1:{only.getsockname()[1]}").text)

    monkeypatch.setattr(demo, "new_demo", lambda _data: where)
    monkeypatch.setattr(serve, "_serve", ask)
    outcome = CliRunner().invoke(cli, ["demo", "--port", "0", "--no-browser"])
    assert outcome.exit_code == 0, outcome.output
    (first,) = shown
    assert workshop_name(where.demonstration.database) in first
    assert 'href="/start"' not in first
