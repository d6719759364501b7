"""Opening a workshop: the demo on the first start, a copy before an upgrade, nothing half done."""

import shutil
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, make_url, select, text
from sqlalchemy.exc import OperationalError

from app.commands import demo, opening, places
from app.commands.places import Places
from app.store import backup, migrate
from app.store.base import Base
from app.store.engine import Store, make_engine, sqlite_url
from app.store.errors import Unusable
from app.store.workshop import Workshop, scales, the_workshop
from app.work.workshop import BeginForm, begin_workshop

ALL_OUT = text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name")


@pytest.fixture
def where(tmp_path: Path) -> Places:
    folder = tmp_path / "a bench, été"
    folder.mkdir()
    return Places(folder)


def names(store: Store) -> list[str]:
    with store.reading() as session:
        return list(session.scalars(select(Workshop.name)))


def revision(database: Path) -> str:
    with closing(sqlite3.connect(database)) as connection:
        return str(connection.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def stand_at(database: Path, older: str) -> None:
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num=?", (older,))


def begin(store: Store) -> None:
    begin_workshop(store, BeginForm(name="Mine"))


def test_the_first_start_lays_out_the_demo_and_the_second_keeps_what_was_done(where: Places) -> None:
    assert opening.open_own(where) is None
    store = opening.open_demonstration(where)
    with store.transaction() as session:
        workshop = the_workshop(session)
        assert workshop.is_demo
        workshop.name = "Played with"
    store.close()
    again = opening.open_demonstration(where)
    assert names(again) == ["Played with"]
    again.close()
    assert backup.examine(where.demonstration.database, thorough=True) == migrate.head()
    assert not where.database.exists()
    assert not where.backups.exists()


def test_a_workshop_of_ones_own_begins_empty_with_what_was_said(where: Places) -> None:
    form = BeginForm(name="Mine", currency="USD", jurisdiction="US", paper="Letter", fine_step="0.01", fine_load="200")
    store = opening.make_own(where, lambda store: begin_workshop(store, form))
    with store.reading() as session:
        shop = the_workshop(session)
        assert (shop.name, shop.currency, shop.jurisdiction, shop.paper) == ("Mine", "USD", "US", "Letter")
        assert not shop.is_demo
        assert [(str(s.readability_g), str(s.capacity_g)) for s in scales(session)] == [
            ("0.01", "200"),
            ("0.1", "2000"),
        ]
        tables = [table for table in Base.metadata.sorted_tables if table.name not in {"workshop", "scale"}]
        filled = {table.name for table in tables if session.scalar(select(func.count()).select_from(table))}
        assert filled == set()
    store.close()
    with pytest.raises(Unusable, match="already"):
        opening.make_own(where, begin)


def test_a_demonstration_of_a_former_release_is_given_its_place_with_all_that_was_done(
    where: Places, demo_file: Path
) -> None:
    shutil.copy(demo_file, where.database)
    with closing(sqlite3.connect(where.database)) as connection, connection:
        connection.execute("UPDATE workshop SET name = 'Played with'")
    document = where.folder / "files" / "ab" / "abcd"
    document.parent.mkdir(parents=True)
    document.write_bytes(b"certificate")
    assert opening.open_own(where) is None
    assert not where.database.exists()
    assert not (where.folder / "files").exists()
    assert (where.demonstration.folder / "files" / "ab" / "abcd").read_bytes() == b"certificate"
    store = opening.open_demonstration(where)
    assert names(store) == ["Played with"]
    store.close()


def test_a_demonstration_in_its_place_is_named_by_its_own_folder(
    where: Places, demonstration_in: Callable[[Path], Path]
) -> None:
    inside = Places(demonstration_in(where.folder)).demonstration
    with places.lock_workshop(where), pytest.raises(Unusable, match="running"), places.lock_workshop(inside):
        pass
    store = opening.open_own(inside)
    assert store
    assert names(store) == ["Millrace Yard"]
    store.close()
    assert inside.database.exists()


def test_ones_own_workshop_stays_where_it_is(where: Places, migrated_file: Path) -> None:
    shutil.copy(migrated_file, where.database)
    store = opening.open_own(where)
    assert store
    assert names(store) == ["Larch Street workshop"]
    store.close()
    assert not where.demonstration.folder.exists()


def test_a_first_start_that_is_stopped_leaves_no_workshop(where: Places, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_store: Store) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("app.work.demo.load_demo", stopped)
        with pytest.raises(KeyboardInterrupt):
            opening.open_demonstration(where)
    assert not list(where.demonstration.folder.iterdir())
    monkeypatch.setattr("app.work.demo.load_demo", begin)
    opening.open_demonstration(where).close()
    assert where.demonstration.database.exists()


def test_a_workshop_of_the_first_release_is_brought_up_to_date_with_all_it_holds(
    where: Places, first_release: Path
) -> None:
    shutil.copy(first_release, where.database)
    with closing(sqlite3.connect(where.database)) as connection, connection:
        connection.execute("INSERT INTO form_key(key, taken_at, result) VALUES ('kept', '2026-11-25 12:00:00', '')")
    store = opening.open_own(where)
    assert store
    store.close()
    (copy,) = where.backups.glob("*-before-upgrade.db")
    assert (revision(copy), revision(where.database)) == ("0001", migrate.head())
    for database in (copy, where.database):
        with closing(sqlite3.connect(database)) as connection:
            assert connection.execute("SELECT key FROM form_key").fetchall() == [("kept",)]


def test_an_upgrade_that_fails_leaves_the_former_state_and_the_copy(
    where: Places, first_release: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(first_release, where.database)

    def fail(*_args: object) -> None:
        raise RuntimeError("in the middle")

    monkeypatch.setattr(migrate, "to_revision", fail)
    with pytest.raises(Unusable, match="is left as it was; the copy made just before is") as refused:
        opening.open_own(where)
    (copy,) = where.backups.glob("*-before-upgrade.db")
    assert str(copy) in str(refused.value)
    assert revision(where.database) == "0001"


def test_a_disk_that_is_nearly_full_is_a_sentence(where: Places, monkeypatch: pytest.MonkeyPatch) -> None:
    def nearly_full(_store: Store) -> None:
        raise OperationalError("INSERT", {}, sqlite3.OperationalError("database or disk is full"))

    monkeypatch.setattr("app.work.demo.load_demo", nearly_full)
    with pytest.raises(Unusable, match=r"^the disk is full$"):
        opening.open_demonstration(where)
    assert not list(where.demonstration.folder.iterdir())


@pytest.mark.parametrize("name", ["a?b", "100%41 x", "50% natural", "#1; 'x' & \"y\""])
def test_a_folder_may_have_any_name(name: str, tmp_path: Path) -> None:
    where = Places(tmp_path / name)
    where.folder.mkdir()
    opening.make_own(where, begin).close()
    store = opening.open_own(where)
    assert store
    assert names(store) == ["Mine"]
    store.close()
    assert where.database.exists()
    assert [path.name for path in tmp_path.iterdir()] == [name]


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def cut_in_half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def newer(path: Path) -> None:
    stand_at(path, "from the future")


@pytest.mark.parametrize(
    ("harm", "words"), [(emptied, "is empty"), (cut_in_half, "is damaged"), (newer, "a newer Tarebook")]
)
def test_a_file_that_cannot_be_used_is_named_with_the_last_backup(
    harm: Callable[[Path], None], words: str, where: Places, migrated_file: Path
) -> None:
    shutil.copy(migrated_file, where.database)
    copies = [where.backups / f"tarebook-{day}-120000-by-hand.db" for day in ("20260101", "20261124")]
    where.backups.mkdir()
    for copy in copies:
        copy.write_bytes(b"x")
    harm(where.database)
    before = where.database.read_bytes()
    with pytest.raises(Unusable, match=words) as refused:
        opening.open_own(where)
    assert str(where.database) in str(refused.value)
    assert str(refused.value).endswith(f"The last backup is {copies[-1]}")
    assert where.database.read_bytes() == before


def test_the_last_backup_is_the_youngest_of_any_kind(where: Places) -> None:
    where.backups.mkdir()
    for name in ("tarebook-20261124-120000-by-hand.db", "tarebook-20261124-120001-before-restore.db"):
        (where.backups / name).write_bytes(b"x")
    assert opening.last_backup(where).endswith("-before-restore.db")


def test_a_demo_gets_a_new_folder_each_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAREBOOK_HOME", str(tmp_path / "home"))
    first = demo.new_demo(None)
    first.folder.mkdir(parents=True)
    second = demo.new_demo(None)
    assert first.folder != second.folder
    assert first.folder.parent == second.folder.parent == tmp_path / "home" / "demos"


@pytest.mark.parametrize("kind", ["filled", "file"])
def test_a_demo_never_goes_over_what_is_there(kind: str, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    if kind == "file":
        taken.write_text("mine", encoding="utf-8")
    else:
        taken.mkdir()
        (taken / "tarebook.db").write_text("mine", encoding="utf-8")
    with pytest.raises(Exception, match="is not empty; a demo needs a new or empty one"):
        demo.new_demo(taken)


def test_a_demo_may_use_an_empty_folder(tmp_path: Path) -> None:
    assert demo.new_demo(tmp_path).folder == tmp_path


@pytest.mark.postgresql
def test_a_database_server_is_filled_once_and_kept(
    empty_server: str, where: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", empty_server)
    assert opening.open_own(where) is None
    opening.make_own(where, begin).close()
    again = opening.open_own(where)
    assert again
    assert names(again) == ["Mine"]
    again.close()
    # Begun once: a second form changes nothing.
    twice = opening.make_own(where, lambda store: begin_workshop(store, BeginForm(name="Another")))
    assert names(twice) == ["Mine"]
    twice.close()
    assert not where.database.exists()


@pytest.mark.postgresql
@pytest.mark.parametrize(
    ("harm", "words"),
    [
        ("ALTER TABLE batch_weighing DISABLE TRIGGER USER", "the guard of table batch_weighing is missing"),
        ("ALTER TABLE formula DROP COLUMN retired_at", "the column formula.retired_at is missing"),
        ("ALTER TABLE formula ADD COLUMN price integer", "the column formula.price is not Tarebook's"),
        ("DROP TABLE exchange_rate", "the table exchange_rate is missing"),
        ("CREATE TABLE of_another_program (id integer)", ""),
    ],
)
def test_a_server_whose_tables_were_changed_is_not_opened(
    empty_server: str, where: Places, monkeypatch: pytest.MonkeyPatch, harm: str, words: str
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", empty_server)
    opening.make_own(where, begin).close()
    engine = make_engine(empty_server)
    with engine.begin() as connection:
        connection.exec_driver_sql(harm)
    engine.dispose()
    if not words:
        again = opening.open_own(where)
        assert again
        again.close()
        return
    with pytest.raises(Unusable, match=words):
        opening.open_own(where)


@pytest.mark.postgresql
def test_two_first_starts_at_once_fill_a_server_once(
    empty_server: str, where: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", empty_server)
    with ThreadPoolExecutor() as pool:
        stores = [start.result() for start in [pool.submit(opening.make_own, where, begin) for _ in range(2)]]
    assert [len(names(store)) for store in stores] == [1, 1]
    for store in stores:
        store.close()


@pytest.mark.postgresql
def test_a_first_start_that_is_stopped_leaves_the_server_empty(
    empty_server: str, where: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", empty_server)

    def stopped(store: Store) -> None:
        begin(store)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        opening.make_own(where, stopped)
    assert migrate.current(empty_server) is None


@pytest.mark.postgresql
def test_a_server_that_goes_away_is_a_sentence_and_comes_back_by_itself(server: Any) -> None:
    with server.copy(demo=False) as url:
        store = Store(url)
        assert names(store) == ["Larch Street workshop"]
        # As after a restart of the server: the connections that lie waiting are dead.
        with server.engine.connect() as connection:
            connection.execute(ALL_OUT, {"name": make_url(url).database})
        assert names(store) == ["Larch Street workshop"]
        store.close()
    gone = Store("postgresql+psycopg://me@127.0.0.1:9/book")
    for use in (gone.reading, gone.transaction):
        with pytest.raises(Unusable, match="the database server does not answer"), use() as session:
            session.execute(select(Workshop))
    gone.close()


@pytest.mark.postgresql
def test_a_server_of_a_newer_program_is_refused(
    empty_server: str, where: Places, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", empty_server)
    monkeypatch.setattr(migrate, "revision_of", lambda _connection: "from the future")
    with pytest.raises(Unusable, match="newer Tarebook"):
        opening.open_own(where)


def test_a_first_workshop_is_closed_when_it_is_done(where: Places) -> None:
    opening.fill(sqlite_url(where.database), begin)
    assert sorted(path.name for path in where.folder.iterdir()) == ["tarebook.db"]
