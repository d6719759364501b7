"""Two workshops behind one server: what is changed under somebody's hands stays whole."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app.commands import site as sites
from app.commands.places import Places
from app.commands.site import Site
from app.store import backup
from app.store.engine import Store, sqlite_url
from app.store.errors import Unusable
from app.store.workshop import Workshop, the_workshop
from app.work.workshop import BeginForm

OWN, DEMONSTRATION = 1, 2
MINE = BeginForm(name="Mine", currency="EUR", jurisdiction="EU", paper="A4")


class WorkshopName:
    """Stands for an application: answers with the name of its workshop, and writes it, between two events."""

    def __init__(self, store: Store, **_settings: Any) -> None:
        self.extensions = {"store": store}
        self.began, self.go_on = threading.Event(), threading.Event()
        self.go_on.set()

    def __call__(self, _environ: dict[str, Any], _start: Callable[..., Any]) -> list[bytes]:
        self.began.set()
        self.go_on.wait(20)
        with self.extensions["store"].transaction() as session:
            workshop = the_workshop(session)
            workshop.notes = "written"
            return [workshop.name.encode()]


def invented(store: Store) -> None:
    with store.transaction() as session:
        session.add(Workshop(name="Invented", currency="EUR", is_demo=True))


@pytest.fixture
def where(tmp_path: Path) -> Places:
    return Places(tmp_path)


@pytest.fixture
def site(where: Places, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr("app.work.demo.load_demo", invented)
    monkeypatch.setattr(sites, "create_app", WorkshopName)
    site = Site(where, OWN, DEMONSTRATION)
    site.open(MINE)
    site.renew_demonstration()
    yield site
    site.close()


def answer(site: Site, port: int) -> bytes:
    environ = {"SERVER_PORT": str(port), "REQUEST_METHOD": "GET", "HTTP_HOST": "localhost", "PATH_INFO": "/"}
    return b"".join(site(environ, lambda *_: None))


def test_a_demonstration_made_afresh_while_somebody_saves_in_it_is_whole(site: Site, where: Places) -> None:
    slow: Any = site._apps[DEMONSTRATION]
    slow.go_on.clear()
    answers: list[bytes] = []
    saving = threading.Thread(target=lambda: answers.append(answer(site, DEMONSTRATION)))
    saving.start()
    assert slow.began.wait(20)
    renewing = threading.Thread(target=site.renew_demonstration)
    renewing.start()
    slow.go_on.set()
    saving.join(20)
    renewing.join(20)
    assert answers == [b"Invented"]
    assert answer(site, DEMONSTRATION) == b"Invented"
    assert backup.examine(where.demonstration.database)
    assert len(list(where.backups.glob("*.db"))) == 1


def test_a_fresh_demonstration_that_cannot_be_made_leaves_the_former_one(
    site: Site, where: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_store: Store) -> None:
        raise Unusable("the disk is full")

    monkeypatch.setattr("app.work.demo.load_demo", full)
    with pytest.raises(Unusable, match="full"):
        site.renew_demonstration()
    assert answer(site, DEMONSTRATION) == b"Invented"
    assert {path.name for path in where.folder.iterdir() if path.is_dir()} == {"demonstration"}


def test_a_damaged_demonstration_keeps_nobody_out_of_their_own_workshop(site: Site, where: Places) -> None:
    site.close()
    where.demonstration.database.write_bytes(b"damaged")
    site.open()
    assert site.demonstration_port() is None
    assert "cannot be opened" in site.trouble
    assert answer(site, OWN) == b"Mine"
    kept = Path(site.renew_demonstration())
    assert (kept / "tarebook.db").read_bytes() == b"damaged"
    assert answer(site, DEMONSTRATION) == b"Invented"


def test_without_a_workshop_of_ones_own_a_damaged_demonstration_says_how_to_get_a_new_one(where: Places) -> None:
    where.demonstration.folder.mkdir()
    where.demonstration.database.write_bytes(b"damaged")
    with pytest.raises(Unusable, match=r"Move .*demonstration away"):
        Site(where, OWN, DEMONSTRATION).open()


def test_a_workshop_that_was_closed_is_not_made_again_as_an_empty_file(tmp_path: Path) -> None:
    store = Store(sqlite_url(tmp_path / "gone.db"))
    store.close()
    with pytest.raises(Unusable, match="closed"), store.reading() as session:
        the_workshop(session)
    assert not list(tmp_path.iterdir())
