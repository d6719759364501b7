"""Which folder, whether it can be used, and who holds it."""

import os
import stat
from pathlib import Path

import platformdirs
import pytest

from app.commands import places
from app.commands.places import Places
from app.store.errors import Unusable


def test_the_option_goes_before_the_variable_and_the_variable_before_the_custom(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_HOME", str(tmp_path / "home"))
    assert places.choose(tmp_path / "named").folder == tmp_path / "named"
    assert places.choose(None).folder == tmp_path / "home"
    monkeypatch.delenv("TAREBOOK_HOME")
    assert places.choose(None).folder == Path(platformdirs.user_data_dir("tarebook", appauthor=False))


def test_a_relative_folder_and_a_tilde_are_understood(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert places.choose(Path("bench")).folder == tmp_path / "bench"
    assert places.choose(Path("~/bench")).folder == tmp_path / "bench"


def test_a_missing_folder_is_made_with_all_above_it(tmp_path: Path) -> None:
    where = Places(tmp_path / "a" / "b c" / "été 酒")
    places.prepare_folder(where)
    assert where.folder.is_dir()
    assert not list(where.folder.iterdir())


def test_a_full_disk_is_told_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_path: Path, _data: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(Unusable, match=r"cannot be written \(No space left on device\).*TAREBOOK_HOME"):
        places.prepare_folder(Places(tmp_path))


def test_the_probe_goes_also_when_the_disk_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def half(path: Path, _data: bytes) -> None:
        path.touch()
        raise OSError(28, "No space left on device")

    (tmp_path / "probe-1").touch()
    monkeypatch.setattr(Path, "write_bytes", half)
    with pytest.raises(Unusable, match="No space left"):
        places.prepare_folder(Places(tmp_path))
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(os.name == "nt", reason="rights of POSIX")
def test_what_a_former_release_left_readable_is_closed(tmp_path: Path) -> None:
    (tmp_path / "backups").mkdir(mode=0o755)
    files = [tmp_path / name for name in ("tarebook.db", "tarebook.log", "backups/tarebook-20260101-000000-by-hand.db")]
    theirs = tmp_path / "notes.txt"
    for file in (*files, theirs):
        file.touch()
        file.chmod(0o644)
    places.prepare_folder(Places(tmp_path))
    assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
    assert stat.S_IMODE((tmp_path / "backups").stat().st_mode) == 0o700
    assert stat.S_IMODE(theirs.stat().st_mode) == 0o644


@pytest.mark.parametrize("name", ["tarebook.lock", "tarebook.address"])
def test_a_folder_in_the_place_of_a_file_is_a_sentence(name: str, tmp_path: Path) -> None:
    (tmp_path / name).mkdir()
    with pytest.raises(Unusable, match=name), places.lock_workshop(Places(tmp_path)):
        pass


def test_a_folder_is_held_by_one_at_a_time(tmp_path: Path) -> None:
    where = Places(tmp_path / "bench")
    with places.lock_workshop(where) as left:
        with pytest.raises(Unusable, match="it is just starting"), places.lock_workshop(where):
            pass
        left.write_text("http://127.0.0.1:8520/", encoding="utf-8")
        with (
            pytest.raises(Unusable, match=r"already running .* http://127\.0\.0\.1:8520/"),
            places.lock_workshop(where),
        ):
            pass
        with pytest.raises(Unusable, match="stop it first"), places.lock_workshop(where, "stop it first"):
            pass
    with places.lock_workshop(where) as left:
        assert not left.exists()


def test_the_key_is_made_once_and_for_its_owner_only(tmp_path: Path) -> None:
    key = places.secret_key(Places(tmp_path))
    assert len(key) == 32
    assert places.secret_key(Places(tmp_path)) == key
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "secret.key").stat().st_mode) == 0o600


def test_a_key_that_was_cut_short_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / "secret.key").write_bytes(b"short")
    assert len(places.secret_key(Places(tmp_path))) == 32


def test_a_key_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    (tmp_path / "secret.key").mkdir()
    with pytest.raises(Unusable, match=r"secret\.key"):
        places.secret_key(Places(tmp_path))


@pytest.mark.parametrize(
    ("address", "used"),
    [
        ("", None),
        ("postgresql://me@bench/book", "postgresql+psycopg://me@bench/book"),
        ("postgres://me@bench/book", "postgresql+psycopg://me@bench/book"),
        ("postgresql+psycopg://me@bench/book", "postgresql+psycopg://me@bench/book"),
    ],
)
def test_the_address_of_a_database_server_is_understood(
    address: str, used: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", address)
    assert places.database_address() == used


@pytest.mark.parametrize("address", ["mysql://bench/book", "sqlite:///book.db", "book", "postgresqlx://bench"])
def test_another_kind_of_database_is_refused(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", address)
    with pytest.raises(Unusable, match="must begin with postgresql://"):
        places.database_address()


MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
bench:/share /home/me/share nfs4 rw 0 0
/dev/sdb1 /home/me/share/stick vfat rw 0 0
//bench/x /mnt/windows cifs rw 0 0
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/home/me", ""),
        ("/home/me/share", "nfs4"),
        ("/home/me/share/deep/er", "nfs4"),
        ("/home/me/share/stick", ""),
        ("/home/me/shared", ""),
        ("/mnt/windows/x", "cifs"),
    ],
)
def test_a_network_drive_is_noticed(folder: str, kind: str, tmp_path: Path) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(MOUNTS, encoding="utf-8")
    assert places.network_drive(Path(folder), mounts) == kind


def test_where_mounts_cannot_be_read_nothing_is_said(tmp_path: Path) -> None:
    assert places.network_drive(tmp_path, tmp_path / "missing") == ""
    assert places.drive_advice(tmp_path) == ""
