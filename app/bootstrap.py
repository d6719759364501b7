"""The first step of ``python3 -m app``: a private environment, then the same command inside it.

Standard library only; ``__main__`` has refused a Python that is too old before this file is read.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import IO, Callable, Iterable, Iterator, Sequence  # noqa: UP035 - read by Pythons that lack the newer place

ROOT = Path(__file__).resolve().parents[1]
LOCKS = ROOT / "app" / "requirements"
HALF_MADE = "half made"
# Set after one repair, so that a package that is missing from the lock itself is not looked for for ever.
REPAIRED = "_TAREBOOK_REPAIRED"
# Each lock holds every pin of the ones before it.
SIZES = ("run", "postgresql", "test")
# Commands that need the packages of the tests.
FOR_DEVELOPERS = ("test", "check", "mutate")
# What can be added to any of them with ``add``; each of these locks holds every pin of the first one.
EXTRAS = ("photo-reading",)
# The only package without ready wheels for every Python; it carries its library inside and compiles nothing.
FROM_SOURCE = {"test": ("phreeqpython",)}


class Trouble(Exception):
    """Something the person can put right, said in one sentence."""


class Environment:
    """The private environment: where it is, and which lock it was made from."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.stamp = folder / "tarebook.stamp"
        self.lock = folder / "tarebook.lock"

    @property
    def python(self) -> Path:
        """The interpreter inside."""
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    @property
    def inside(self) -> bool:
        """Whether the running interpreter is the one inside."""
        return Path(sys.prefix).resolve() == self.folder.resolve()

    def read_stamp(self) -> list[str]:
        """Read the lines of the stamp; none when there is no stamp."""
        try:
            return self.stamp.read_text(encoding="utf-8").splitlines()
        except (OSError, ValueError):
            return []

    @property
    def packages(self) -> Path:
        """The folder that packages are installed into."""
        inside = "Lib" if os.name == "nt" else "lib/python{}.{}".format(*sys.version_info)
        return self.folder / inside / "site-packages"

    def ready(self, size: str) -> bool:
        """Return whether everything of a lock, as it reads now, is installed for this Python and still there."""
        lines = self.read_stamp()
        stamped = lines[:1] == [python_tag()] and stamp_line(size) in lines and self.python.exists()
        return stamped and not self.missing(size)

    def missing(self, size: str) -> set[str]:
        """Return the packages of a lock of which nothing is there, those aside that only some systems need."""
        pins = re.findall(r"^(\S+)==\S+ \\$", lock_file(size).read_text(encoding="utf-8"), re.MULTILINE)
        there = {plain_name(path.name.partition("-")[0]) for path in self.packages.glob("*.dist-info")}
        return {plain_name(pin) for pin in pins} - there

    def spoiled(self) -> bool:
        """Return whether the environment is one of ours that has to be made anew."""
        lines = self.read_stamp()
        dangling = self.python.is_symlink() and not self.python.exists()
        return dangling or (bool(lines) and (lines[0] != python_tag() or not self.python.exists()))

    def mark(self, lines: Sequence[str]) -> None:
        """Write the stamp in one step."""
        draft = self.stamp.with_suffix(".new")
        draft.write_text("\n".join(lines) + "\n", encoding="utf-8")
        os.replace(str(draft), str(self.stamp))


def python_tag() -> str:
    """Name the Python an environment belongs to."""
    return f"{sys.implementation.cache_tag} {sys.platform}"


def plain_name(package: str) -> str:
    """Write the name of a package as the index compares it."""
    return re.sub(r"[-_.]+", "-", package).lower()


def lock_file(size: str) -> Path:
    """Find the lock of one size."""
    return LOCKS / (size + ".txt")


def stamp_line(size: str) -> str:
    """Write what the stamp says about a lock that is installed."""
    return size + " " + hashlib.sha256(lock_file(size).read_bytes()).hexdigest()


def place() -> Path:
    """Return where the environment belongs: beside pyproject.toml, or where TAREBOOK_ENV says."""
    moved = os.environ.get("TAREBOOK_ENV")
    return Path(moved).expanduser().absolute() if moved else ROOT / ".venv"


def size_for(arguments: Sequence[str]) -> str:
    """Choose the lock a command needs."""
    if arguments and arguments[0] in FOR_DEVELOPERS:
        return "test"
    if list(arguments[:1]) == ["add"] and arguments[1:2] and arguments[1] in EXTRAS:
        return arguments[1]
    return "postgresql" if os.environ.get("TAREBOOK_DATABASE_URL", "").startswith("postgres") else "run"


def say(text: str) -> None:
    """Tell the person something; standard output stays free for answers."""
    print(text, file=sys.stderr, flush=True)


def main(arguments: Sequence[str]) -> int:
    """Prepare the environment if that is needed, then run the command inside it; give its exit status."""
    environment = Environment(place())
    try:
        if not environment.ready(size_for(arguments)):
            prepare(environment, size_for(arguments))
    except Trouble as trouble:
        say(f"Tarebook cannot start: {trouble}")
        return 1
    except KeyboardInterrupt:
        say("\nStopped. The next start takes it up again.")
        return 130
    if environment.inside:
        return run_here(arguments)
    return hand_over([str(environment.python), "-m", "app", *arguments])


def run_here(arguments: Sequence[str]) -> int:
    """Run the command in this interpreter; an environment that has lost a part of a package is made anew first."""
    try:
        from app.commands.cli import run

        return run(arguments)
    except ImportError as error:
        package = (error.name or "").partition(".")[0]
        if package in ("", "app") or package in sys.stdlib_module_names or REPAIRED in os.environ:
            raise
        say(f"A part of the package {package} is missing from the private environment.")
        return repair(Environment(place()), arguments)


def repair(environment: Environment, arguments: Sequence[str]) -> int:
    """Give the environment up and start again with the Python it was made from, which makes it anew."""
    environment.mark([HALF_MADE])
    os.environ[REPAIRED] = "1"
    return hand_over([getattr(sys, "_base_executable", sys.executable), "-m", "app", *arguments])


def hand_over(command: Sequence[str]) -> int:
    """Let another program go on in place of this one; where that cannot be done, as its child."""
    if os.name == "posix":
        sys.stdout.flush()
        sys.stderr.flush()
        os.execv(command[0], list(command))  # noqa: S606 - our own interpreter, no shell
    return run_child(command)


def run_child(command: Sequence[str]) -> int:
    """Run a child to its end, passing Ctrl-C and termination on; give its exit status."""
    # Ctrl-C reaches the child as well, and the child decides how to end. A handler that does nothing leaves the child
    # its own, and no interrupt can come between the child's end and its status being read.
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, lambda *_: None)
    with subprocess.Popen(list(command)) as child:  # noqa: S603
        with contextlib.suppress(ValueError):
            signal.signal(signal.SIGTERM, lambda *_: child.terminate())
        status = child.wait()
        return status if status >= 0 else 128 - status


def prepare(environment: Environment, size: str) -> None:
    """Make the environment, or bring it to the present lock; one process at a time.

    Raises:
        Trouble: when that cannot be done, with what to do about it.
    """
    try:
        claim(environment)
        with hold(environment.lock) as holder:
            if not environment.ready(size):
                make(environment, size, holder)
    except OSError as error:
        raise Trouble(folder_trouble(environment.folder, error)) from error


def folder_trouble(folder: Path, error: OSError) -> str:
    """Say in one sentence why the environment's folder cannot be written, and the way out."""
    return (
        f"the folder {folder} for its private environment cannot be written ({error.strerror or error}); "
        "name another folder in the variable TAREBOOK_ENV."
    )


def claim(environment: Environment) -> None:
    """Make sure that the folder is there and is ours to fill.

    Raises:
        Trouble: when it holds something of somebody else.
    """
    folder = environment.folder
    folder.mkdir(parents=True, exist_ok=True)
    # An environment made by hand beside pyproject.toml belongs to this program; anywhere else it does not.
    ours = environment.stamp.exists() or environment.lock.exists() or folder == ROOT / ".venv"
    if not ours and any(folder.iterdir()):
        raise Trouble(
            f"the folder {folder} holds something that this program did not make; "
            "name an empty or new folder in the variable TAREBOOK_ENV."
        )


def make(environment: Environment, size: str, holder: IO[bytes]) -> None:
    """Make or renew the environment while holding its lock."""
    spoiled = environment.spoiled()
    if spoiled and environment.inside:
        raise Trouble(
            f"the environment in {environment.folder} has to be made anew, which it cannot do to itself; "
            "start with the Python of your system: python3 -m app"
        )
    present = {stamp_line(each) for each in SIZES + EXTRAS if lock_file(each).exists()}
    kept = [] if spoiled else [line for line in environment.read_stamp() if line in present]
    environment.mark([HALF_MADE])
    if spoiled:
        say("The private environment is half made or belongs to another Python; making it anew.")
        clear(environment)
    if not environment.python.exists():
        create(environment, holder)
    install(environment, size, holder)
    whole = SIZES[: SIZES.index(size) + 1] if size in SIZES else (SIZES[0], size)
    stamps = dict.fromkeys([*kept, *map(stamp_line, whole)])
    environment.mark([python_tag(), *stamps])


def clear(environment: Environment) -> None:
    """Empty the folder, but for the stamp that says it is half made and the lock that is held."""
    for path in environment.folder.iterdir():
        if path in (environment.stamp, environment.lock):
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(str(path))
        else:
            path.unlink()


def create(environment: Environment, holder: IO[bytes]) -> None:
    """Make an empty environment with pip in it.

    Raises:
        Trouble: when this Python came without the parts for it.
    """
    advice = "this Python lacks the parts to make an environment; on Debian or Ubuntu install them with: " + (
        "sudo apt install python{}.{}-venv".format(*sys.version_info)
    )
    if importlib.util.find_spec("ensurepip") is None:
        raise Trouble(advice)
    say(f"First start: making a private environment in {environment.folder}")
    with helper([sys.executable, "-m", "venv", str(environment.folder)], holder) as process:
        words = process.communicate()[0].decode("utf-8", "replace")
    if process.returncode:
        say(words.strip())
        raise Trouble(advice)


def install(environment: Environment, size: str, holder: IO[bytes]) -> None:
    """Install a lock with pip, every file checked against its hash, showing how far it is.

    Raises:
        Trouble: with the likely cause, after pip's own last words.
    """
    total = len(re.findall(r"^\S+==", lock_file(size).read_text(encoding="utf-8"), re.MULTILINE))
    with helper(pip_command(environment, size), holder) as pip:
        lines = [line.decode("utf-8", "replace").rstrip() for line in follow(pip.stdout or (), total)]
    if pip.returncode:
        say("\n".join(lines[-15:]))
        raise Trouble(likely_cause("\n".join(lines)))


def helper(command: Sequence[str], holder: IO[bytes]) -> subprocess.Popen[bytes]:
    """Start a program that works on the environment.

    It shares the lock: should it outlive this process, nobody clears the folder under it.
    """
    keep = () if os.name == "nt" else (holder.fileno(),)
    environ = dict(os.environ, PYTHONUNBUFFERED="1", PIP_USER="0")
    return subprocess.Popen(  # noqa: S603
        list(command), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environ, pass_fds=keep
    )


def pip_command(environment: Environment, size: str) -> list[str]:
    """Write the command that installs one lock.

    The lock holds every package there is to install, so pip is to look for no others: older ones forget the pin of a
    package that another asks for with an extra, and take its newest.
    """
    source = [word for name in FROM_SOURCE.get(size, ()) for word in ("--no-binary", name)]
    quiet = ["--disable-pip-version-check", "--no-input", "--progress-bar", "off"]
    base = [str(environment.python), "-m", "pip", "install", "--no-deps", "--require-hashes", "--only-binary", ":all:"]
    return base + source + quiet + ["-r", str(lock_file(size))]


def follow(stream: Iterable[bytes], total: int) -> Iterator[bytes]:
    """Pass an installer's lines on and show how far it is."""
    found = 0
    with Progress() as progress:
        for line in stream:
            total -= line.startswith(b"Ignoring ")
            if line.startswith((b"Collecting ", b"Processing ", b"Requirement already")):
                found += 1
                progress.show(f"Fetching packages, {found} of {total}", found % 10 == 0)
            elif line.startswith(b"Installing collected"):
                progress.show(f"Unpacking {line.count(b',') + 1} packages; this is the longest step", True)
            yield line


class Progress:
    """One line that is kept up to date on a terminal, and a few plain lines elsewhere."""

    def __init__(self) -> None:
        self._text = "Fetching packages"
        self._terminal = sys.stderr.isatty()
        self._started = time.monotonic()
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._tick, daemon=True)

    def __enter__(self) -> Progress:
        if self._terminal:
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        if self._terminal:
            self._thread.join()
            say("")

    def show(self, text: str, worth_a_line: bool) -> None:
        """Tell how far it is."""
        self._text = text
        if worth_a_line and not self._terminal:
            say(text)

    def _tick(self) -> None:
        while not self._done.wait(0.5):
            seconds = int(time.monotonic() - self._started)
            print(f"\r{self._text:<60} {seconds:>4} s ", end="", file=sys.stderr, flush=True)


OFFLINE = "NewConnectionError|ConnectTimeout|name resolution|getaddrinfo|unreachable|Connection refused|ProxyError"
CAUSES = (
    ("No module named pip", "the environment has no pip; it will be made anew at the next start."),
    ("No space left on device", "the disk is full; make about 600 MB of room and start again."),
    ("DO NOT MATCH THE HASHES", "a package that arrived is not the one it was tested with, so it was not installed."),
    (OFFLINE, "the package index cannot be reached; connect this machine to the network and start again."),
    ("No matching distribution", "the package index has no files of a package that fit this Python and this system."),
    ("Read-only file system|Permission denied", "the environment's folder cannot be written; TAREBOOK_ENV moves it."),
)


def likely_cause(text: str) -> str:
    """Say in one sentence why an installer failed, going by what it wrote."""
    found = (words for sign, words in CAUSES if re.search(sign, text))
    return next(found, "the packages could not be installed; the lines above say why. Start again to try once more.")


@contextlib.contextmanager
def hold(path: Path) -> Iterator[IO[bytes]]:
    """Hold a lock file for a while; wait for another holder, and say so."""
    with open(str(path), "a+b") as file:
        if not try_lock(file):
            say("Another start is preparing the private environment; waiting for it.")
            while not try_lock(file):
                time.sleep(0.2)
        yield file


def try_lock(file: IO[bytes]) -> bool:
    """Lock an open file unless another process holds it; the lock ends when the file is closed."""
    try:
        _system_lock()(file)
    except OSError:
        return False
    return True


def _system_lock() -> Callable[[IO[bytes]], None]:
    if sys.platform == "win32":
        import msvcrt

        def lock(file: IO[bytes]) -> None:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        def lock(file: IO[bytes]) -> None:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)

    return lock
