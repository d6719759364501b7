"""The first step: one command makes the environment, notices what is wrong with it, and runs inside it."""

import base64
import hashlib
import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement

from app import bootstrap
from app.bootstrap import Environment, Trouble, lock_file, plain_name
from app.commands import cli

STATUS = 7
CLI = f"""
import json, sys
from importlib.metadata import version

def run(arguments):
    print(json.dumps({{"prefix": sys.prefix, "arguments": list(arguments), "brick": version("brick")}}))
    return {STATUS}
"""


def wheel(folder: Path, version: str, name: str = "brick", more: str = "Provides-Extra: red\n") -> str:
    """Make the smallest package there can be, and give the line of a lock for it."""
    info = f"{name}-{version}.dist-info"
    files = {
        f"{name}.py": f"VERSION = {version!r}\n",
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n{more}",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{path},sha256={digest(text)},{len(text)}\n" for path, text in files.items())
    path = folder / f"{name}-{version}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for inside, text in {**files, f"{info}/RECORD": record + f"{info}/RECORD,,\n"}.items():
            archive.writestr(inside, text)
    return f"{name}=={version} \\\n    --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


def digest(text: str) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()


class Project:
    """A checkout with the real first step, a toy command, and a package folder instead of an index."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.wheels = folder / "wheels"
        self.environment = Environment(folder / ".venv")
        self.wheels.mkdir(parents=True)
        (folder / "app" / "commands").mkdir(parents=True)
        (folder / "app" / "requirements").mkdir()
        for name in ("__init__.py", "__main__.py", "bootstrap.py"):
            shutil.copy(bootstrap.ROOT / "app" / name, folder / "app" / name)
        (folder / "app" / "commands" / "cli.py").write_text(CLI, encoding="utf-8")
        # One package asks the other for an extra, and a newer one than the lock names is to be had.
        self.wall = wheel(self.wheels, "1.0", "wall", "Requires-Dist: brick[red]>=1.0\n")
        wheel(self.wheels, "1.5")
        self.lock("run", wheel(self.wheels, "1.0") + self.wall)

    def lock(self, size: str, text: str) -> None:
        for name in bootstrap.SIZES[bootstrap.SIZES.index(size) :]:
            (self.folder / "app" / "requirements" / f"{name}.txt").write_text(text, encoding="utf-8")

    def start(self, *arguments: str, **settings: str) -> subprocess.Popen[str]:
        hidden = {"TAREBOOK_ENV", "TAREBOOK_DATABASE_URL"}
        environ = {name: value for name, value in os.environ.items() if name not in hidden}
        environ |= {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": self.wheels.as_uri(), "PIP_CONFIG_FILE": os.devnull}
        return subprocess.Popen(
            [sys.executable, "-m", "app", *arguments],
            cwd=self.folder,
            env=environ | settings,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *arguments: str, **settings: str) -> tuple[int, dict[str, Any], str]:
        return finish(self.start(*arguments, **settings))


def finish(process: subprocess.Popen[str]) -> tuple[int, dict[str, Any], str]:
    answer, words = process.communicate(timeout=120)
    return process.returncode, json.loads(answer or "{}"), words


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return Project(tmp_path / "a bench, été")


def test_the_life_of_an_environment(project: Project, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "LOCKS", project.folder / "app" / "requirements")
    # A first start that was killed, then two more while a third prepares it: both wait and say so; then one makes anew
    # what was half made, and both run inside.
    killed = project.start()
    while not project.environment.stamp.exists():
        time.sleep(0.01)
    killed.kill()
    killed.communicate()
    with bootstrap.hold(project.environment.lock):
        started = [project.start("one", "--two=3"), project.start("other")]
        waiting = [start.stderr.readline() for start in started if start.stderr]
    outcomes = [finish(start) for start in started]
    assert [status for status, _, _ in outcomes] == [STATUS, STATUS]
    assert outcomes[0][1] == {
        "prefix": str(project.environment.folder), "arguments": ["one", "--two=3"], "brick": "1.0",
    }  # fmt: skip
    assert all("waiting for it" in words for words in waiting)
    said = "".join(words for _, _, words in outcomes)
    assert (said.count("half made"), said.count("making a private environment")) == (1, 1)

    # Ready: nothing is looked for, installed or said.
    assert project.environment.ready("run")
    stamped = project.environment.stamp.stat().st_mtime_ns
    assert project.run("again")[::2] == (STATUS, "")
    assert project.environment.stamp.stat().st_mtime_ns == stamped

    # A package that went missing is put back.
    for path in project.environment.packages.glob("brick*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    assert not project.environment.ready("run")
    status, answer, words = project.run()
    assert (status, answer["brick"]) == (STATUS, "1.0")
    assert "making" not in words

    # An optional part is added beside what is there and stays at the next start.
    extra = project.folder / "app" / "requirements" / "photo-reading.txt"
    extra.write_text((project.folder / "app" / "requirements" / "run.txt").read_text(encoding="utf-8") + "# more\n")
    status, answer, _ = project.run("add", "photo-reading")
    assert (status, answer["arguments"]) == (STATUS, ["add", "photo-reading"])
    assert project.run("serve")[::2] == (STATUS, "")
    assert {line.split()[0] for line in project.environment.read_stamp()[1:]} == {"run", "photo-reading"}

    # Another lock: installed into the same environment.
    keepsake = project.environment.folder / "keepsake"
    keepsake.write_text("still here", encoding="utf-8")
    project.lock("run", wheel(project.wheels, "2.0") + project.wall)
    status, answer, words = project.run()
    assert (status, answer["brick"]) == (STATUS, "2.0")
    assert "Unpacking 1 packages" in words
    assert keepsake.exists()

    # A lock that cannot be had: said plainly, nothing marked as done, the environment made anew once it can.
    project.lock("run", "brick==3.0 \\\n    --hash=sha256:" + "0" * 64 + "\n")
    status, answer, words = project.run()
    assert (status, answer) == (1, {})
    assert "Tarebook cannot start: the package index has no files of a package that fit" in words
    assert project.environment.read_stamp() == [bootstrap.HALF_MADE]

    # A file that is not what the lock says.
    wrong = wheel(project.wheels, "3.0")[:-3] + "00\n"
    project.lock("run", wrong)
    status, _, words = project.run()
    assert status == 1
    assert "not the one it was tested with" in words
    assert not keepsake.exists()


def test_an_environment_of_another_python_is_spoiled(tmp_path: Path) -> None:
    environment = Environment(tmp_path)
    environment.mark(["cpython-39 linux", bootstrap.stamp_line("run")])
    assert environment.spoiled()
    assert not environment.ready("run")


def test_an_environment_without_its_python_is_spoiled(tmp_path: Path) -> None:
    environment = Environment(tmp_path)
    environment.mark([bootstrap.python_tag(), bootstrap.stamp_line("run")])
    assert environment.spoiled()
    assert not environment.ready("run")


def test_it_cannot_make_itself_anew_from_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = Environment(tmp_path)
    environment.mark([bootstrap.HALF_MADE])
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    with pytest.raises(Trouble, match="start with the Python of your system"):
        bootstrap.prepare(environment, "run")


OLD = ("2.7", "3.6", "3.8", "3.10")
OLD_PYTHONS = [
    str(path)
    for version in OLD
    for path in (*Path.home().glob(f".pyenv/versions/{version}*/bin/python"), Path(f"/usr/bin/python{version}"))
    if path.exists()
]


@pytest.mark.parametrize("python", OLD_PYTHONS or ["none is installed"])
def test_an_old_python_is_refused_in_one_sentence(python: str) -> None:
    if not OLD_PYTHONS:
        pytest.skip("no Python older than 3.11 is installed")
    told = subprocess.run([python, "-B", "-m", "app"], cwd=bootstrap.ROOT, capture_output=True, text=True, check=False)
    assert told.returncode == 1
    assert told.stderr.startswith("Tarebook cannot start: it needs Python 3.11 or newer and this is ")
    assert told.stderr.count("\n") == 1


def test_a_dangling_link_in_the_place_of_the_python_is_spoiled_even_without_a_stamp(tmp_path: Path) -> None:
    environment = Environment(tmp_path)
    environment.python.parent.mkdir(parents=True)
    environment.python.symlink_to(tmp_path / "gone")
    assert environment.spoiled()


def test_a_part_of_a_package_that_is_missing_is_made_anew_with_the_first_python(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    started: list[list[str]] = []

    def lost(_arguments: object) -> int:
        raise ModuleNotFoundError("No module named 'flask.app'", name="flask.app")

    monkeypatch.setattr(cli, "run", lost)
    monkeypatch.setattr(bootstrap, "hand_over", lambda command: started.append(list(command)) or 4)
    monkeypatch.setenv("TAREBOOK_ENV", str(tmp_path))
    monkeypatch.setenv(bootstrap.REPAIRED, "")
    monkeypatch.delenv(bootstrap.REPAIRED)
    assert bootstrap.run_here(["serve"]) == 4
    assert started == [[sys._base_executable, "-m", "app", "serve"]]  # type: ignore[attr-defined]
    assert Environment(tmp_path).read_stamp() == [bootstrap.HALF_MADE]
    assert "A part of the package flask is missing" in capsys.readouterr().err
    # Once only: a package that stays away is a fault to be seen.
    with pytest.raises(ModuleNotFoundError):
        bootstrap.run_here(["serve"])


@pytest.mark.parametrize("name", ["app.web.nothing", "_sqlite3", None])
def test_what_no_new_environment_mends_is_not_tried(name: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(_arguments: object) -> int:
        raise ImportError("cannot import", name=name)

    monkeypatch.setattr(cli, "run", lost)
    with pytest.raises(ImportError):
        bootstrap.run_here([])


def test_a_python_without_venv_names_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    version = "{}.{}".format(*sys.version_info)
    with pytest.raises(Trouble, match=f"sudo apt install python{version}-venv"):
        bootstrap.prepare(Environment(tmp_path), "run")


def test_a_folder_that_cannot_be_written_names_the_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("TAREBOOK_ENV", str(tmp_path / "file" / "environment"))
    assert bootstrap.main([]) == 1
    assert "name another folder in the variable TAREBOOK_ENV" in capsys.readouterr().err


def test_a_folder_of_somebody_else_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "pyvenv.cfg").write_text("home = elsewhere", encoding="utf-8")
    monkeypatch.setenv("TAREBOOK_ENV", str(tmp_path))
    assert bootstrap.main([]) == 1
    assert "holds something that this program did not make" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["pyvenv.cfg"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("NewConnectionError: Failed to establish a new connection: [Errno -2]", "cannot be reached"),
        ("Temporary failure in name resolution", "cannot be reached"),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk is full"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE", "not the one it was tested with"),
        ("ERROR: No matching distribution found for brick==3.0", "fit this Python"),
        ("[Errno 30] Read-only file system: 'x'", "TAREBOOK_ENV"),
        ("/x/bin/python: No module named pip", "made anew"),
        ("something else", "the lines above say why"),
    ],
)
def test_the_likely_cause_is_said_in_one_sentence(words: str, sentence: str) -> None:
    cause = bootstrap.likely_cause("Looking in links\n" + words + "\n")
    assert sentence in cause
    assert "\n" not in cause


@pytest.mark.parametrize(
    ("arguments", "address", "size"),
    [
        ([], "", "run"),
        (["serve", "--port", "1"], "", "run"),
        (["test", "-k", "x"], "", "test"),
        (["serve"], "postgresql://somewhere/book", "postgresql"),
        (["compute", "test"], "", "run"),
        (["add", "photo-reading"], "", "photo-reading"),
        (["add", "something"], "", "run"),
        (["add"], "", "run"),
    ],
)
def test_a_command_gets_the_packages_it_needs(
    arguments: list[str], address: str, size: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_DATABASE_URL", address)
    assert bootstrap.size_for(arguments) == size


def test_only_the_tests_build_a_package_from_source(tmp_path: Path) -> None:
    assert "--no-binary" not in bootstrap.pip_command(Environment(tmp_path), "run")
    command = bootstrap.pip_command(Environment(tmp_path), "test")
    assert command[command.index("--no-binary") + 1] == "phreeqpython"
    assert "--require-hashes" in command


@pytest.mark.parametrize("size", bootstrap.SIZES)
def test_a_lock_holds_all_that_its_packages_ask_for(size: str) -> None:
    lines = [line for line in lock_file(size).read_text(encoding="utf-8").splitlines() if line[:1].isalnum()]
    locked = [Requirement(line.rstrip(" \\")) for line in lines]
    pins = {
        plain_name(pin.name): str(pin.specifier)[2:] for pin in locked if pin.marker is None or pin.marker.evaluate()
    }
    wanted = {(name, "") for name in pins}
    looked_at: set[tuple[str, str]] = set()
    while wanted - looked_at:
        name, extra = (wanted - looked_at).pop()
        looked_at.add((name, extra))
        for line in distribution(name).requires or ():
            asked = Requirement(line)
            if asked.marker is None or asked.marker.evaluate({"extra": extra}):
                assert asked.specifier.contains(pins[plain_name(asked.name)], prereleases=True), (name, line)
                wanted |= {(plain_name(asked.name), each) for each in ("", *asked.extras)}
    assert len(pins) > 20


def test_progress_counts_what_arrives(capsys: pytest.CaptureFixture[str]) -> None:
    lines = [
        b"Ignoring numpy: markers do not match\n",
        *[b"Collecting x\n"] * 10,
        b"Installing collected packages: a, b\n",
    ]
    assert list(bootstrap.follow(iter(lines), 12)) == lines  # type: ignore[arg-type]
    told = capsys.readouterr().err.splitlines()
    assert told == ["Fetching packages, 10 of 11", "Unpacking 2 packages; this is the longest step"]


def test_progress_keeps_one_line_alive_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with bootstrap.Progress() as progress:
        progress.show("Fetching packages, 3 of 9", True)
        time.sleep(1.2)
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "\rFetching packages, 3 of 9" in told


@pytest.mark.parametrize(
    ("code", "status"),
    [("raise SystemExit(0)", 0), ("raise SystemExit(5)", 5), ("import os; os.kill(os.getpid(), 15)", 143)],
)
def test_a_child_passes_its_status_on(code: str, status: int) -> None:
    text = f"import sys; from app.bootstrap import run_child; sys.exit(run_child([sys.executable, '-c', {code!r}]))"
    assert subprocess.run([sys.executable, "-c", text], cwd=bootstrap.ROOT, check=False).returncode == status


CHILD = """
import time
try:
    time.sleep(0.3)
    print("up", flush=True)
    time.sleep(60)
except KeyboardInterrupt:
    raise SystemExit(9)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals of a process group")
@pytest.mark.parametrize(("sign", "status"), [(signal.SIGINT, 9), (signal.SIGTERM, 143)])
def test_a_child_is_told_to_stop(sign: int, status: int) -> None:
    text = f"import sys; from app.bootstrap import run_child; sys.exit(run_child([sys.executable, '-c', {CHILD!r}]))"
    with subprocess.Popen(
        [sys.executable, "-c", text], cwd=bootstrap.ROOT, stdout=subprocess.PIPE, start_new_session=True
    ) as parent:
        assert parent.stdout
        parent.stdout.readline()
        # Ctrl-C goes to everybody at the terminal, a plain termination only to the one that was started.
        if sign == signal.SIGINT:
            os.killpg(parent.pid, sign)
        else:
            parent.send_signal(sign)
        assert parent.wait(20) == status
