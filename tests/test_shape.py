"""The shape of the project: what lies where, how long a piece may be, what is locked."""

import ast
import re
import statistics
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
APP = ROOT / "app"
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "app", "migrations", "tests", "static", "templates", "seed_data",
}  # fmt: skip
LOCKS = sorted((APP / "requirements").glob("*.txt"))
CODE = sorted(APP.rglob("*.py"))
PIN = re.compile(r"^([a-z0-9-]+)==(\S+)(?: ; (.+?))? \\$", re.MULTILINE)
# A function is as long as one idea: an algorithm may stand in one piece of 25 to 50 lines.
LONGEST_FILE, LONGEST_BODY, MIDDLE_BODY, NINE_IN_TEN = 500, 70, 12, 45
Function = ast.FunctionDef | ast.AsyncFunctionDef


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a checkout")
    return listed.stdout.splitlines()


def test_nothing_else_stands_at_the_top() -> None:
    tops = {name.split("/")[0] for name in tracked()}
    assert {name for name in tops if not name.startswith(".")} <= TOP_LEVEL


def test_no_large_file_and_no_database_is_kept() -> None:
    for name in tracked():
        path = ROOT / name
        assert not path.exists() or path.stat().st_size < 3_000_000, name
        assert path.suffix not in {".db", ".sqlite", ".pyc", ".whl", ".pdf"}, name


def test_files_are_short() -> None:
    lengths = {str(path.relative_to(APP)): len(path.read_text(encoding="utf-8").splitlines()) for path in CODE}
    assert not {name: length for name, length in lengths.items() if length > LONGEST_FILE}


def functions() -> Iterator[tuple[str, Function]]:
    for path in CODE:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, Function):
                yield f"{path.relative_to(APP)}:{node.name}", node


def body_lines(function: Function) -> int:
    """Count the lines of a body without its docstring."""
    body = function.body[1:] if ast.get_docstring(function) and len(function.body) > 1 else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1


def test_bodies_are_short() -> None:
    lengths = {name: body_lines(node) for name, node in functions()}
    assert not {name: length for name, length in lengths.items() if length > LONGEST_BODY}
    assert statistics.median(lengths.values()) <= MIDDLE_BODY
    assert statistics.quantiles(lengths.values(), n=10)[-1] <= NINE_IN_TEN


def test_public_functions_say_what_they_do_and_with_what() -> None:
    silent = [name for name, node in functions() if not node.name.startswith("_") and not annotated(node)]
    assert not silent


def annotated(function: Function) -> bool:
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    named = [a for a in arguments if a.arg not in {"self", "cls"}]
    return function.returns is not None and all(a.annotation for a in named)


def test_no_promise_is_left_in_the_code() -> None:
    found = [str(p.relative_to(ROOT)) for p in CODE if re.search(r"\b(TODO|FIXME|XXX|HACK)\b", p.read_text("utf-8"))]
    assert not found


def pins(path: Path) -> dict[str, set[str]]:
    """Read the versions a lock holds per package; some have two, for different Pythons."""
    found: dict[str, set[str]] = {}
    for name, version, _marker in PIN.findall(path.read_text(encoding="utf-8")):
        found.setdefault(name, set()).add(version)
    return found


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[^A-Za-z0-9._-]", line)[0].lower().replace("_", "-") for line in requirements}


def wanted(size: str) -> set[str]:
    data = project()
    run = names(data["project"]["dependencies"])
    more = {
        "run": [],
        "photo-reading": data["project"]["optional-dependencies"]["photo-reading"],
        "postgresql": data["project"]["optional-dependencies"]["postgresql"],
        "test": data["dependency-groups"]["test"],
    }
    return run | names(more[size])


def test_there_is_a_lock_for_each_purpose() -> None:
    assert [path.stem for path in LOCKS] == ["photo-reading", "postgresql", "run", "test"]


@pytest.mark.parametrize("path", LOCKS, ids=lambda path: path.stem)
def test_every_direct_dependency_is_in_the_lock(path: Path) -> None:
    assert wanted(path.stem) <= set(pins(path))


@pytest.mark.parametrize("path", LOCKS, ids=lambda path: path.stem)
def test_a_lock_holds_pins_with_hashes_and_no_address(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"https?:|file:|--index|--extra|--find|@|/", text)
    entries = re.split(r"\n(?=\S)", text.strip())
    assert len(entries) == len(PIN.findall(text))
    assert all(re.search(r"--hash=sha256:[0-9a-f]{64}", entry) for entry in entries)


@pytest.mark.parametrize("larger", ["photo-reading", "postgresql", "test"])
def test_a_larger_lock_holds_every_pin_of_the_smaller(larger: str) -> None:
    run, more = pins(APP / "requirements" / "run.txt"), pins(APP / "requirements" / f"{larger}.txt")
    assert {name: more.get(name) for name in run} == run


def test_the_version_is_said_once_and_the_same_everywhere() -> None:
    from app import __version__

    assert project()["project"]["version"] == __version__


MACHINE_PATH = re.compile(r"(?<![\w.])/(work|root|opt)/" + r"[a-z]|127\.0\.0\.1:\d+/simple")


def test_no_path_of_a_machine_is_written_down() -> None:
    text = [name for name in tracked() if name.endswith((".py", ".md", ".toml", ".html", ".css", ".js", ".json"))]
    found = {name for name in text if (ROOT / name).exists() and MACHINE_PATH.search((ROOT / name).read_text("utf-8"))}
    assert not found - {"tests/test_shape.py"}
