"""A copy is whole, never replaces anything, and goes back only when it is sound."""

import contextlib
import os
import random
import shutil
import sqlite3
import stat
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.store import backup, migrate
from app.store.backup import Backup
from app.store.engine import Store, sqlite_url
from app.store.errors import Unusable
from app.store.workshop import FormKey, Workshop

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def workshop(migrated_file: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "a bench, été"
    folder.mkdir()
    return Path(shutil.copy(migrated_file, folder / "tarebook.db"))


@pytest.fixture
def folder(workshop: Path) -> Path:
    return workshop.parent / "backups"


def note(store: Store, *keys: str) -> None:
    with store.transaction() as session:
        session.add_all(FormKey(key=key, taken_at=NOON, result="") for key in keys)


def keys(path: Path) -> set[str]:
    with closing(sqlite3.connect(path)) as connection:
        return {row[0] for row in connection.execute("SELECT key FROM form_key")}


def filled(path: Path, *names: str) -> Path:
    store = Store(sqlite_url(path))
    note(store, *names)
    store.close()
    return path


def test_a_copy_holds_what_is_still_in_the_log(workshop: Path, folder: Path) -> None:
    store = Store(sqlite_url(workshop))
    note(store, "late")
    assert workshop.with_name("tarebook.db-wal").stat().st_size > 0
    copy = backup.make_backup(workshop, folder, backup.BY_HAND, NOON).path
    store.close()
    assert copy == folder / "tarebook-20261125-120000-0001-by-hand.db"
    assert [path.name for path in folder.iterdir()] == [copy.name]
    assert [path.name for path in workshop.parent.glob("tarebook.db*")] == ["tarebook.db"]
    assert keys(copy) == {"late"}
    assert backup.examine(copy, thorough=True) == migrate.head()


def test_a_copy_made_while_somebody_writes_holds_whole_actions_only(workshop: Path, folder: Path) -> None:
    store = Store(sqlite_url(workshop))
    done = threading.Event()

    def write() -> None:
        for number in range(400):
            note(store, f"{number}a", f"{number}b")
            if done.is_set():
                break

    writer = threading.Thread(target=write)
    writer.start()
    copies = [backup.make_backup(workshop, folder, backup.BY_HAND, NOON).path for _ in range(8)]
    done.set()
    writer.join()
    store.close()
    assert len(set(copies)) == 8
    for copy in copies:
        found = keys(copy)
        assert {key[:-1] for key in found if key.endswith("a")} == {key[:-1] for key in found if key.endswith("b")}


def test_a_copy_never_replaces_a_file(workshop: Path, tmp_path: Path) -> None:
    target = tmp_path / "precious.db"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(Unusable, match="exists already"):
        backup.back_up_to(workshop, target)
    assert target.read_text(encoding="utf-8") == "mine"


def test_a_name_taken_at_the_last_moment_is_not_replaced(
    workshop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "copy.db"
    publish = backup._publish
    monkeypatch.setattr(
        backup, "_publish", lambda draft, place: (place.write_text("mine", "utf-8"), publish(draft, place))
    )
    with pytest.raises(Unusable, match="exists already"):
        backup.back_up_to(workshop, target)
    assert target.read_text(encoding="utf-8") == "mine"
    assert not list(tmp_path.glob("*.part*"))


def test_a_drive_that_knows_no_links_still_takes_a_copy(
    workshop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_args: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    copy = backup.back_up_to(workshop, tmp_path / "stick.db").path
    assert backup.examine(copy) == migrate.head()


def test_a_copy_into_a_missing_folder_says_so(workshop: Path, tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="nowhere"):
        backup.back_up_to(workshop, tmp_path / "nowhere" / "copy.db")


def test_a_folder_that_is_a_file_says_so(workshop: Path, folder: Path) -> None:
    folder.write_text("", encoding="utf-8")
    with pytest.raises(Unusable, match="cannot be written"):
        backup.make_backup(workshop, folder, backup.BY_HAND, NOON)


def test_the_last_few_of_each_kind_are_kept(workshop: Path, folder: Path) -> None:
    folder.mkdir()
    (folder / "my own copy.db").write_text("mine", encoding="utf-8")
    for hour in range(4):
        backup.make_backup(workshop, folder, backup.BY_HAND, NOON + timedelta(hours=hour), keep=2)
    backup.make_backup(workshop, folder, backup.BEFORE_UPGRADE, NOON, keep=2)
    assert [path.name for path in sorted(folder.iterdir())] == [
        "my own copy.db",
        "tarebook-20261125-120000-0005-before-upgrade.db",
        "tarebook-20261125-140000-0003-by-hand.db",
        "tarebook-20261125-150000-0004-by-hand.db",
    ]


def kept_names(folder: Path) -> list[str]:
    return [path.name for path in backup.backups(folder)]


def test_a_copy_is_never_removed_in_the_breath_it_is_announced_in(workshop: Path, folder: Path) -> None:
    # The clock ran ahead by a year for 20 copies; then it was put right.
    for hour in range(20):
        backup.make_backup(workshop, folder, backup.BY_HAND, NOON + timedelta(days=365, hours=hour))
    before = kept_names(folder)
    for hour in range(3):
        made = backup.make_backup(workshop, folder, backup.BY_HAND, NOON + timedelta(hours=hour))
        assert made.path.exists()
        assert made.removed == (folder / before[hour],)
        assert not made.removed[0].exists()
    # By order of making: those from the wrong year went, the first of them first.
    assert kept_names(folder)[:-3] == before[3:]
    assert kept_names(folder)[-1] == made.path.name


def test_the_former_workshop_is_kept_however_many_there_are(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    for hour in range(20):
        backup.make_backup(workshop, folder, backup.BEFORE_RESTORE, NOON + timedelta(days=365, hours=hour))
    filled(workshop, "new")
    kept = backup.restore(copy, workshop, folder, NOON)
    assert kept
    assert keys(kept.path) == {"old", "new"}
    assert len(kept.removed) == 1


def test_copies_of_one_second_and_of_former_releases_sort_in_the_order_they_were_made(
    workshop: Path, folder: Path
) -> None:
    folder.mkdir()
    former = ["tarebook-20261125-120000-by-hand.db", "tarebook-20261125-120000-2-by-hand.db"]
    for name in former:
        (folder / name).write_bytes(b"x")
    made = [backup.make_backup(workshop, folder, backup.BY_HAND, NOON - timedelta(hours=1)).path.name for _ in "ab"]
    assert kept_names(folder) == [*former, *made]


@pytest.mark.skipif(os.name == "nt", reason="rights of POSIX")
def test_a_copy_is_for_its_owner_only(workshop: Path, folder: Path, tmp_path: Path) -> None:
    made = [
        backup.make_backup(workshop, folder, backup.BY_HAND, NOON).path,
        backup.back_up_to(workshop, tmp_path / "c").path,
    ]
    assert [stat.S_IMODE(path.stat().st_mode) for path in (folder, *made)] == [0o700, 0o600, 0o600]


def test_what_a_killed_copy_left_is_removed_and_one_at_work_is_not(workshop: Path, folder: Path) -> None:
    folder.mkdir()
    dead, at_work = folder / "tarebook-x.db.part", folder / "tarebook-y.db.part-journal"
    for path in (dead, at_work):
        path.write_bytes(b"half")
    os.utime(dead, (1, 1))
    backup.make_backup(workshop, folder, backup.BY_HAND, NOON)
    assert not dead.exists()
    assert at_work.exists()


ALTERED = [
    ("DROP TRIGGER batch_event_stays", "the trigger batch_event_stays is missing"),
    (
        "CREATE TRIGGER sweep AFTER INSERT ON batch_event BEGIN DELETE FROM batch_reading; END",
        "the trigger sweep is not Tarebook's",
    ),
    ("ALTER TABLE scale RENAME COLUMN capacity_g TO load_g", "the column scale.capacity_g is missing"),
    ("DROP INDEX uq_material_live_name", "the index uq_material_live_name is missing"),
    ("DROP TABLE form_key", "the table form_key is missing"),
    ("CREATE TABLE birds(name)", "the table birds is not Tarebook's"),
    (
        "DROP TRIGGER batch_event_kept;"
        "CREATE TRIGGER batch_event_kept BEFORE UPDATE ON batch_event BEGIN SELECT 1; END",
        "the trigger batch_event_kept is made otherwise",
    ),
    ("DELETE FROM workshop", "holds no workshop"),
]


@pytest.mark.parametrize(("change", "words"), ALTERED, ids=[words for _, words in ALTERED])
def test_a_file_that_is_not_as_its_revision_makes_it_is_neither_opened_nor_restored(
    change: str, words: str, workshop: Path, folder: Path, tmp_path: Path
) -> None:
    copy = Path(shutil.copy(workshop, tmp_path / "copy.db"))
    with closing(sqlite3.connect(copy)) as connection:
        connection.executescript(change)
    with pytest.raises(Unusable, match=words):
        backup.examine(copy)
    before = contents(workshop.parent)
    with pytest.raises(Unusable, match=words):
        backup.restore(copy, workshop, folder, NOON)
    assert contents(workshop.parent) == before


def test_a_file_of_an_older_release_is_compared_with_that_release(first_release: Path) -> None:
    assert backup.examine(first_release, thorough=True) == "0001"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="a folder that its owner cannot write to")
def test_a_workshop_in_a_folder_that_cannot_be_written_is_copied(workshop: Path, tmp_path: Path) -> None:
    filled(workshop, "kept")
    workshop.parent.chmod(0o500)
    try:
        assert keys(backup.back_up_to(workshop, tmp_path / "copy.db")) == {"kept"}
    finally:
        workshop.parent.chmod(0o700)


def test_a_source_that_cannot_be_read_is_named_and_not_the_target(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match=r"gone\.db cannot be read"):
        backup.back_up_to(tmp_path / "gone.db", tmp_path / "copy.db")


def flipped(path: Path) -> None:
    data = bytearray(path.read_bytes())
    chance = random.Random(7)  # noqa: S311
    for _ in range(400):
        data[chance.randrange(100, len(data))] ^= 0xFF
    path.write_bytes(data)


def cut_in_half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def random_bytes(path: Path) -> None:
    path.write_bytes(random.Random(7).randbytes(20_000))  # noqa: S311


def header_only(path: Path) -> None:
    path.write_bytes(backup.HEADER)


def foreign(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript("PRAGMA application_id=7; CREATE TABLE birds(name); INSERT INTO birds VALUES('tern')")


def newer(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num='from the future'")


def a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def missing(path: Path) -> None:
    path.unlink()


HARM = [
    (flipped, "damaged"),
    (cut_in_half, "damaged"),
    (emptied, "is empty"),
    (random_bytes, "is not a Tarebook workshop"),
    (header_only, "damaged|cannot be used|another program"),
    (foreign, "belongs to another program"),
    (newer, "written by a newer Tarebook"),
    (a_folder, "cannot be read"),
    (missing, "cannot be read"),
]
each_harm = pytest.mark.parametrize(("harm", "words"), HARM, ids=[harm.__name__ for harm, _ in HARM])


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@each_harm
def test_a_file_that_is_not_sound_is_named_and_left_alone(
    harm: Callable[[Path], None], words: str, workshop: Path
) -> None:
    harm(workshop)
    before = contents(workshop.parent)
    with pytest.raises(Unusable, match=words) as refused:
        backup.examine(workshop)
    assert str(workshop) in str(refused.value)
    assert contents(workshop.parent) == before


@pytest.mark.parametrize("seed", range(40))
def test_flipped_bytes_are_never_more_than_a_message(seed: int, workshop: Path) -> None:
    data = bytearray(workshop.read_bytes())
    chance = random.Random(seed)  # noqa: S311
    for _ in range(1 + seed * 3):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    workshop.write_bytes(data)
    with contextlib.suppress(Unusable):
        assert backup.examine(workshop, thorough=True) == migrate.head()
    assert workshop.read_bytes() == data


@each_harm
def test_what_is_not_sound_is_not_restored(
    harm: Callable[[Path], None], words: str, workshop: Path, folder: Path, tmp_path: Path
) -> None:
    source = Path(shutil.copy(filled(workshop, "present"), tmp_path / "copy.db"))
    harm(source)
    before = contents(workshop.parent)
    with pytest.raises(Unusable, match=words):
        backup.restore(source, workshop, folder, NOON)
    assert contents(workshop.parent) == before
    assert not folder.exists()


def test_a_copy_whose_records_point_to_nothing_is_not_restored(workshop: Path, folder: Path, tmp_path: Path) -> None:
    source = Path(shutil.copy(workshop, tmp_path / "copy.db"))
    with closing(sqlite3.connect(source)) as connection, connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        connection.execute(
            "INSERT INTO price (material_id, kind, amount, quantity_text, quantity_g, priced_on, supplier, note, "
            "currency)"
            " VALUES (99999, 'paid', '1', '1 kg', '1000', '2026-01-01', '', '', 'EUR')"
        )
    with pytest.raises(Unusable, match="point to nothing"):
        backup.restore(source, workshop, folder, NOON)


def test_what_was_backed_up_comes_back_and_the_former_is_kept(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    filled(workshop, "new")
    kept = backup.restore(copy, workshop, folder, NOON)
    assert keys(workshop) == {"old"}
    assert kept == Backup(folder / "tarebook-20261125-120000-0002-before-restore.db", ())
    assert keys(kept.path) == {"old", "new"}
    assert keys(copy) == {"old"}
    assert sorted(path.name for path in workshop.parent.iterdir()) == ["backups", "tarebook.db"]


def test_a_log_left_by_a_killed_program_is_not_mixed_into_the_restored_file(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    store = Store(sqlite_url(workshop))
    note(store, "in the log")
    killed = {path.name: path.read_bytes() for path in workshop.parent.glob("tarebook.db*")}
    store.close()
    for name, data in killed.items():
        (workshop.parent / name).write_bytes(data)
    kept = backup.restore(copy, workshop, folder, NOON)
    assert keys(workshop) == {"old"}
    assert kept
    assert keys(kept.path) == {"old", "in the log"}


def test_a_damaged_workshop_is_kept_as_it_is_and_replaced(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    flipped(workshop)
    damaged = workshop.read_bytes()
    kept = backup.restore(copy, workshop, folder, NOON)
    assert kept
    assert kept.path.name == "tarebook-20261125-120000-0002-before-restore-damaged.db"
    assert kept.path.read_bytes() == damaged
    assert keys(workshop) == {"old"}


def test_a_workshop_in_use_is_not_replaced(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    store = Store(sqlite_url(workshop))
    note(store, "new")
    with store.reading() as session:
        session.get(Workshop, 1)
        with pytest.raises(Unusable, match="in use"):
            backup.restore(copy, workshop, folder, NOON)
    store.close()
    assert keys(workshop) == {"old", "new"}


def test_a_copy_can_be_restored_where_there_is_nothing_yet(workshop: Path, folder: Path, tmp_path: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    elsewhere = tmp_path / "tarebook.db"
    assert backup.restore(copy, elsewhere, tmp_path / "backups", NOON) is None
    assert keys(elsewhere) == {"old"}


def test_a_fault_while_replacing_leaves_the_former_workshop(
    workshop: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    filled(workshop, "new")

    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_copy_and_check", full)
    with pytest.raises(Unusable, match="No space left"):
        backup.restore(copy, workshop, folder, NOON)
    assert keys(workshop) == {"old", "new"}
    assert not list(workshop.parent.glob("*.part*"))


def whole(workshop: Path, draft: Path) -> None:
    filled(Path(shutil.copy(workshop, draft)), "first")


def test_a_new_file_has_its_name_only_when_it_is_whole(tmp_path: Path, workshop: Path) -> None:
    database = tmp_path / "new.db"

    def stopped(draft: Path) -> None:
        shutil.copy(workshop, draft)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        backup.create(database, stopped)
    assert not list(tmp_path.glob("new.db*"))
    backup.create(database, lambda draft: whole(workshop, draft))
    assert keys(database) == {"first"}
    assert [path.name for path in tmp_path.glob("new.db*")] == ["new.db"]


def test_a_read_only_copy_can_be_restored(workshop: Path, folder: Path) -> None:
    copy = backup.make_backup(filled(workshop, "old"), folder, backup.BY_HAND, NOON).path
    copy.chmod(stat.S_IRUSR)
    backup.restore(copy, workshop, folder, NOON)
    assert sorted(path.name for path in workshop.parent.iterdir()) == ["backups", "tarebook.db"]
    filled(workshop, "writable")
    assert keys(workshop) == {"old", "writable"}
