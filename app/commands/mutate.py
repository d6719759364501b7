"""The ``mutate`` command: make small wrong changes, one at a time, and see whether a test notices.

It works on a copy. First every test runs once and notes which lines it reaches; then each change is asked only of tests
that reach its line. A change that no test notices is printed with its place.
"""

import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import click

from app import bootstrap
from app.commands.mutations import Mutation, mutations_of

# Where a wrong figure can hurt: all of the science, and what people do with money, batches and the bench.
SCOPE = (
    "app/science", "app/work/batches", "app/work/ph", "app/work/formulas", "app/work/stock", "app/work/cost_sheet.py",
    "app/work/sheets.py", "app/work/papers.py", "app/work/products", "app/work/bench.py",
    "app/work/materials/prices.py",
)  # fmt: skip
ASKED = ("tests/science", "tests/work", "tests/documents", "tests/reference")
KEPT = Path("tests/mutation/kept.json")
COPIED = ("app", "tests", "seed_data", "migrations", "templates", "static", "pyproject.toml")
MOST_TESTS = 60
LONGEST_SECONDS = 120
NOT_FOUND = 4
FAILED = r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$"
REACHES = dict[str, dict[int, list[str]]]


def kept_mutations(root: Path) -> list[Mutation]:
    """Read the changes that once went unnoticed or that were tried by hand; each stands once in its file.

    Raises:
        click.ClickException: naming one whose place is not there any more.
    """
    found = []
    for row in json.loads((root / KEPT).read_text(encoding="utf-8")):
        text = (root / row["file"]).read_text(encoding="utf-8")
        if text.count(row["old"]) != 1:
            raise click.ClickException(
                f"{row['what']}: {row['old']!r} stands {text.count(row['old'])} times in {row['file']}"
            )
        start = text.index(row["old"])
        line = text[:start].count("\n") + 1
        found.append(Mutation(row["file"], start, row["old"], row["new"], line, row["what"]))
    return found


def sampled(root: Path, count: int, seed: int) -> list[Mutation]:
    """Choose so many of all possible changes, the same ones for the same seed."""
    files = sorted(path for place in SCOPE for path in _files(root / place))
    every = [m for path in files for m in mutations_of(str(path.relative_to(root)), path.read_text(encoding="utf-8"))]
    return random.Random(seed).sample(every, min(count, len(every)))  # noqa: S311 - a choice of examples


def _files(place: Path) -> list[Path]:
    return sorted(place.rglob("*.py")) if place.is_dir() else [place] if place.exists() else []


class Workplace:
    """Copies of the project in which changes are made, and what is known of which test reaches which line."""

    def __init__(self, root: Path, folder: Path) -> None:
        self.root, self.folder = root, folder
        self.reaches: REACHES = {}

    def copy(self, name: str) -> Path:
        """Make one more copy."""
        target = self.folder / name
        target.mkdir()
        for piece in COPIED:
            source = self.root / piece
            if source.is_dir():
                shutil.copytree(source, target / piece, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, target / piece)
        return target

    def learn(self, copy: Path, known: Path | None) -> None:
        """Run every test once and note which lines each reaches; or read that from a former run.

        A test that fails as things are would notice everything, so it is not asked.
        """
        data = known or copy / ".coverage"
        failing = data.with_suffix(".failing")
        if not data.exists():
            options = ("-q", "-rfE", "-n", "auto", "--dist", "worksteal")
            measured = ("--cov=app", "--cov-context=test", "--cov-report=")
            places = [place for place in ASKED if (copy / place).exists()]
            run = pytest(copy, *options, *measured, *places, seconds=3600)
            if known:
                shutil.copy(copy / ".coverage", known)
            failing.write_text("\n".join(re.findall(FAILED, run.output, re.MULTILINE)), encoding="utf-8")
        left_out = set(failing.read_text(encoding="utf-8").splitlines()) if failing.exists() else set()
        if left_out:
            click.echo(f"{len(left_out)} tests fail as things are and are not asked")
        self.reaches = read_reaches(data, left_out)

    def tests_for(self, mutation: Mutation) -> list[str]:
        """Return tests that reach the line of a change; of many, those of its own room first."""
        by_line = self.reaches.get(mutation.file, {})
        found = by_line.get(mutation.line) or sorted({test for tests in by_line.values() for test in tests})
        _, room, *rest = mutation.file.removesuffix(".py").split("/")
        part = rest[0] if rest else ""
        random.Random(mutation.start).shuffle(found := list(found))  # noqa: S311
        near = sorted(found, key=lambda test: (f"tests/{room}/{part}" not in test, f"tests/{room}/" not in test))
        return near[:MOST_TESTS]

    def is_noticed(self, copy: Path, mutation: Mutation) -> bool:
        """Make a change in a copy, run the tests that reach it, and take it back."""
        tests = self.tests_for(mutation)
        if not tests:
            return False
        path = copy / mutation.file
        text = path.read_text(encoding="utf-8")
        path.write_text(mutation.apply(text), encoding="utf-8")
        try:
            listed = copy / "asked.txt"
            listed.write_text("\n".join(tests), encoding="utf-8")
            run = pytest(copy, "-x", "-q", f"@{listed}", seconds=LONGEST_SECONDS)
            if run.status == NOT_FOUND:
                # The name of an example holds the place of the checkout: ask the whole function.
                listed.write_text("\n".join(sorted({test.partition("[")[0] for test in tests})), encoding="utf-8")
                run = pytest(copy, "-x", "-q", f"@{listed}", seconds=LONGEST_SECONDS)
            return run.status != 0
        finally:
            path.write_text(text, encoding="utf-8")


def read_reaches(data: Path, left_out: set[str]) -> REACHES:
    """Read which tests reach which lines of which file, those left out aside."""
    from coverage import CoverageData

    found = CoverageData(basename=str(data))
    found.read()
    reaches: REACHES = {}
    for file in found.measured_files():
        name = "app/" + file.replace(os.sep, "/").rpartition("/app/")[2]
        lines = found.contexts_by_lineno(file)
        reaches[name] = {
            line: sorted({test.partition("|")[0] for test in tests if test} - left_out) for line, tests in lines.items()
        }
    return reaches


@dataclass(frozen=True, slots=True)
class Run:
    """How a run of tests ended: its exit status, and what was written."""

    status: int
    output: str


def pytest(copy: Path, *options: str, seconds: int) -> Run:
    """Run tests in a copy; a run that takes too long has failed."""
    command = [sys.executable, "-m", "pytest", "-p", "no:randomly", "-o", "addopts=--import-mode=importlib", *options]
    environ = {**os.environ, "PYTHONPYCACHEPREFIX": str(copy / "compiled")}
    try:
        run = subprocess.run(  # noqa: S603
            command, cwd=copy, env=environ, capture_output=True, text=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return Run(1, "")
    return Run(run.returncode, run.stdout)


@click.command("mutate")
@click.option("--sample", default=60, show_default=True, help="How many changes to try, chosen from all.")
@click.option("--seed", default=1, show_default=True, help="Which ones: the same seed chooses the same.")
@click.option("--kept", is_flag=True, help=f"Try the changes listed in {KEPT} instead.")
@click.option("--known", type=click.Path(path_type=Path), help="Keep, or use again, what is known of the tests.")
@click.option("--at-once", default=os.cpu_count() or 1, help="How many changes are tried at the same time.")
def mutate(sample: int, seed: int, kept: bool, known: Path | None, at_once: int) -> None:
    """Make small wrong changes in a copy, one at a time, and count how many the tests notice."""
    root = bootstrap.ROOT
    tried = kept_mutations(root) if kept else sampled(root, sample, seed)
    with tempfile.TemporaryDirectory(prefix="tarebook-mutate-") as folder:
        bench = Workplace(root, Path(folder))
        copies = [bench.copy(f"copy-{n}") for n in range(at_once)]
        click.echo("Running every test once to learn which lines each reaches")
        bench.learn(copies[0], known.absolute() if known else None)
        unnoticed = try_all(bench, copies, tried, report)
    noticed = len(tried) - len(unnoticed)
    click.echo(f"{noticed} of {len(tried)} changes noticed, {100 * noticed / max(len(tried), 1):.0f} %")


def try_all(
    bench: Workplace, copies: list[Path], tried: list[Mutation], tell: Callable[[Mutation, bool], None]
) -> list[Mutation]:
    """Try changes side by side, one copy each; return those that no test noticed."""
    free = list(copies)

    def one(mutation: Mutation) -> bool:
        copy = free.pop()
        try:
            noticed = bench.is_noticed(copy, mutation)
        finally:
            free.append(copy)
        tell(mutation, noticed)
        return noticed

    with ThreadPoolExecutor(max_workers=len(copies)) as pool:
        return [mutation for mutation, noticed in zip(tried, pool.map(one, tried), strict=True) if not noticed]


def report(mutation: Mutation, noticed: bool) -> None:
    """Say how one change went."""
    place = f"{mutation.file}:{mutation.line}"
    change = mutation.what or f"{mutation.old!r} -> {mutation.new!r}"
    click.echo(f"{'noticed' if noticed else 'NOT NOTICED'}  {place}  {change}")
