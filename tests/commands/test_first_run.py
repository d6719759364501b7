"""What a newcomer gets from one command: the demo workshop, and the same one the next time."""

import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from app.commands.places import Places
from app.store.engine import Store, sqlite_url
from app.store.workshop import the_workshop


def page(address: str) -> str:
    with urllib.request.urlopen(address, timeout=20) as answer:
        return str(answer.read().decode())


def workshop_name(where: Places) -> str:
    store = Store(sqlite_url(where.database))
    with store.reading() as session:
        name = the_workshop(session).name
    store.close()
    return name


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_the_first_start_shows_the_demo_workshop(command: str, serve: Callable[..., Any], tmp_path: Path) -> None:
    served = serve(tmp_path / "bench", command)
    assert workshop_name(Places(served.folder)) in page(served.address)
    assert served.stop() == 0


def test_the_second_start_keeps_what_the_first_one_made(serve: Callable[..., Any], tmp_path: Path) -> None:
    where = Places(tmp_path / "bench")
    assert serve(where.folder, "serve").stop() == 0
    store = Store(sqlite_url(where.database))
    with store.transaction() as session:
        the_workshop(session).name = "The shed behind the house"
    store.close()
    assert "The shed behind the house" in page(serve(where.folder, "serve").address)
