"""Where a workshop's files are: one folder, chosen by ``--data``, TAREBOOK_HOME, or the system's custom."""

import contextlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import click
import platformdirs

from app.bootstrap import try_lock
from app.store.backup import remove_dead_drafts
from app.store.errors import Unusable

SECRET_BYTES = 32
# File systems that reach over the network; the write-ahead log needs one host (SQLite manual, "Write-Ahead Logging").
OVER_THE_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "afpfs", "fuse.sshfs", "9p"}
DATA_OPTION = click.option(
    "--data", type=click.Path(path_type=Path), help="The folder of the workshop's files, instead of the usual one."
)


@dataclass(frozen=True, slots=True)
class Places:
    """The files of one workshop."""

    folder: Path

    @property
    def database(self) -> Path:
        """The workshop itself."""
        return self.folder / "tarebook.db"

    @property
    def backups(self) -> Path:
        """The folder of the copies this program makes."""
        return self.folder / "backups"

    @property
    def log(self) -> Path:
        """What happened, without what is in the formulas."""
        return self.folder / "tarebook.log"

    @property
    def secret(self) -> Path:
        """The key that signs the cookie."""
        return self.folder / "secret.key"

    @property
    def demonstration(self) -> "Places":
        """The demonstration workshop, a folder of its own inside, with files of its own."""
        return Places(self.folder / "demonstration")

    @property
    def holder(self) -> "Places":
        """The folder that a running program holds: for a demonstration in its place that of the workshop around it."""
        around = Places(self.folder.parent)
        return around if around.demonstration == self and around.lock.exists() else self

    @property
    def lock(self) -> Path:
        """The file that a running program locks."""
        return self.folder / "tarebook.lock"

    @property
    def demos(self) -> Path:
        """The folder in which each demo gets a folder of its own."""
        return self.folder / "demos"


def choose(data: Path | None) -> Places:
    """Choose the folder: the option, then TAREBOOK_HOME, then where this system keeps a program's data."""
    named = data or os.environ.get("TAREBOOK_HOME")
    folder = Path(named) if named else Path(platformdirs.user_data_dir("tarebook", appauthor=False))
    return Places(folder.expanduser().absolute())


def database_address() -> str | None:
    """Return the address of the PostgreSQL database, when TAREBOOK_DATABASE_URL names one."""
    address = os.environ.get("TAREBOOK_DATABASE_URL", "").strip()
    scheme, mark, rest = address.partition("://")
    if not address:
        return None
    if not mark or scheme.partition("+")[0] not in {"postgresql", "postgres"}:
        raise Unusable("TAREBOOK_DATABASE_URL must begin with postgresql://")
    return f"postgresql+psycopg://{rest}"


def prepare_folder(where: Places) -> None:
    """Make the folder, see that it can be written, and keep what is in it to its owner.

    Raises:
        Unusable: when it cannot be written.
    """
    # Everything made from now on is for its owner only: what a workshop writes is nobody else's business.
    os.umask(0o077)
    probe = where.folder / f"probe-{os.getpid()}"
    try:
        where.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        for left in where.folder.glob("probe-*"):
            left.unlink(missing_ok=True)
        try:
            probe.write_bytes(b"x")
        finally:
            probe.unlink(missing_ok=True)
    except OSError as error:
        raise Unusable(
            f"the folder {where.folder} cannot be written ({error.strerror}); "
            "name another with --data or in the variable TAREBOOK_HOME"
        ) from error
    remove_dead_drafts(where.folder)
    keep_to_owner(where)


def keep_to_owner(where: Places) -> None:
    """Take the rights of others from what former releases left readable."""
    if os.name == "nt":
        return
    files = [
        path
        for pattern in ("tarebook.*", "backups/*.db*", "backups/*.zip", "files/*/*")
        for path in where.folder.glob(pattern)
    ]
    for path in [*files, where.backups]:
        with contextlib.suppress(OSError):
            mode = path.stat().st_mode
            if mode & 0o077:
                path.chmod(mode & 0o700)


@contextmanager
def lock_workshop(where: Places, busy: str = "") -> Iterator[Path]:
    """Hold the folder, so that no second start uses it; give the file in which to leave the address.

    Raises:
        Unusable: when another start holds it, with the address it left; or when a file of it cannot be used.
    """
    prepare_folder(where)
    where = where.holder
    address = where.folder / "tarebook.address"
    try:
        lock = where.lock.open("a+b")
    except OSError as error:
        raise Unusable(f"the file {where.lock} cannot be used: {error.strerror}") from error
    with lock:
        if not try_lock(lock):
            raise Unusable(
                busy or f"Tarebook is already running with the folder {where.folder}: {_address_in(address)}"
            )
        _clear_address(address)
        yield address
        _clear_address(address)


def _clear_address(address: Path) -> None:
    try:
        address.unlink(missing_ok=True)
    except OSError as error:
        raise Unusable(f"{address} cannot be removed: {error.strerror}; move it away by hand") from error


def _address_in(address: Path) -> str:
    try:
        return address.read_text(encoding="utf-8").strip()
    except OSError:
        return "it is just starting"


def secret_key(where: Places) -> bytes:
    """Return the key that signs the cookie; it is made at the first start, readable by its owner only.

    Raises:
        Unusable: when it cannot be read or written.
    """
    try:
        key = where.secret.read_bytes() if where.secret.exists() else b""
        return key if len(key) == SECRET_BYTES else _make_key(where.secret)
    except OSError as error:
        raise Unusable(f"the file {where.secret} cannot be used: {error.strerror}") from error


def _make_key(path: Path) -> bytes:
    key = secrets.token_bytes(SECRET_BYTES)
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(key)
    return key


def moment() -> datetime:
    """Return the present moment in UTC, for the name of a file."""
    return datetime.now(UTC)


def drive_advice(folder: Path) -> str:
    """Say so when a folder is on a network drive, where the workshop file could come to harm; else nothing."""
    kind = network_drive(folder)
    return f"the folder {folder} is on a network drive ({kind}); keep it on a disk of this machine" if kind else ""


def network_drive(folder: Path, mounts: Path = Path("/proc/self/mounts")) -> str:
    """Name the network file system a folder is on; empty when it is on none, or when that cannot be told."""
    try:
        lines = [line.split() for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines()]
    except OSError:
        return ""
    over = [(len(spot), kind) for _device, spot, kind, *_rest in lines if folder.is_relative_to(spot)]
    kind = max(over, default=(0, ""))[1]
    return kind if kind in OVER_THE_NETWORK else ""
