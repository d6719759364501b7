"""The ``mutate`` command: make small wrong changes, one at a time, and see whether a test notices.

It works on a copy. First every test runs once and notes which of the lines to be changed it comes by; then each change
is asked of the tests that come by its line, nearest room and narrowest tests first. A change is a fork of this process,
in which the libraries are imported already, and never reaches a disk: the changed text is compiled where its module is
imported. A change that no test notices is printed with its place.
"""

import importlib.machinery
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from types import CodeType
from typing import Any

import click

from app import bootstrap
from app.commands import mutate_reach
from app.commands.mutations import Mutation, mutations_of

# Where a wrong figure can hurt: all of the science, and what people do with money, batches and the bench.
SCOPE = (
    "app/science", "app/work/batches", "app/work/ph", "app/work/formulas", "app/work/stock", "app/work/packing",
    "app/work/products", "app/work/cost_sheet.py", "app/work/batch_sheet.py", "app/work/paper_formula.py",
    "app/work/first_page.py", "app/work/pricing.py", "app/work/materials/prices.py",
)  # fmt: skip
ASKED = (
    "tests/science", "tests/work", "tests/documents", "tests/reference", "tests/store", "tests/commands", "tests/web",
)  # fmt: skip
KEPT = Path("tests/mutation/kept.json")
COPIED = ("app", "tests", "seed_data", "migrations", "templates", "static", "pyproject.toml")
MOST_TESTS = 200
MOST_EXAMPLES = 8
LEAST_TESTS = 40
LONGEST_SECONDS = 60  # one test
ASKED_SECONDS = 30  # all tests of one change, once some were asked
NOT_FOUND = 4
FAILED = r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$"
OPTIONS = (
    "-q", "-p", "no:randomly", "-o", "addopts=--import-mode=importlib -p no:cacheprovider",
    "-W", "ignore::pytest.PytestAssertRewriteWarning",
)  # fmt: skip
REACHES = dict[str, dict[int, set[str]]]


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


def sampled(root: Path, count: int, seed: int, places: Sequence[str] = SCOPE) -> list[Mutation]:
    """Choose so many of all possible changes, the same ones for the same seed."""
    files = sorted(path for place in places for path in _files(root / place))
    every = [m for path in files for m in mutations_of(str(path.relative_to(root)), path.read_text(encoding="utf-8"))]
    return random.Random(seed).sample(every, min(count, len(every)))  # noqa: S311 - a choice of examples


def _files(place: Path) -> list[Path]:
    if not place.exists():
        raise click.ClickException(f"there is no {place} to change")
    return sorted(place.rglob("*.py")) if place.is_dir() else [place]


class Clock:
    """Ends the process in which a single test goes on for ever, and asks no more tests after a while.

    Both are time of its own, so that a busy machine ends nothing; what waits for ever is ended as well.
    """

    def __init__(self) -> None:
        self.began, self.asked = time.process_time(), 0

    @staticmethod
    def wind() -> None:
        """Wind the clock for the next test."""
        signal.setitimer(signal.ITIMER_PROF, LONGEST_SECONDS)
        signal.alarm(20 * LONGEST_SECONDS)

    def pytest_runtest_protocol(self, item: Any) -> bool | None:
        """Pass over a test when those before it took long enough."""
        self.wind()
        self.asked += 1
        over = self.asked > LEAST_TESTS and time.process_time() - self.began > ASKED_SECONDS
        return True if over else None


class Workplace:
    """A copy of the project in which changes are tried, and what is known of which test reaches which line."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.reaches: REACHES = {}
        self.lines_of: Counter[str] = Counter()

    @classmethod
    def copied(cls, root: Path, folder: Path) -> "Workplace":
        """Copy the project into a folder."""
        for piece in COPIED:
            if (root / piece).is_dir():
                shutil.copytree(root / piece, folder / piece, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy2(root / piece, folder / piece)
        return cls(folder)

    def learn(self, tried: Sequence[Mutation]) -> None:
        """Run every test once and note which of the lines to be changed each comes by.

        A test that fails as things are would notice everything, so it is not asked.

        Raises:
            click.ClickException: with what was said when the tests could not be run.
        """
        lines: dict[str, list[int]] = defaultdict(list)
        for mutation in tried:
            lines[mutation.file].append(mutation.line)
        asked = self.root / "lines.json"
        asked.write_text(json.dumps(lines), encoding="utf-8")
        command = (sys.executable, "-m", "pytest", *OPTIONS, "-rfE", "-n", "auto", "--dist", "worksteal")
        places = [place for place in ASKED if (self.root / place).exists()]
        known = {**os.environ, "PYTEST_PLUGINS": mutate_reach.__name__, mutate_reach.ASKED: str(asked)}
        run = subprocess.run(  # noqa: S603
            (*command, *places), cwd=self.root, env=known, capture_output=True, text=True, check=False
        )
        found = mutate_reach.reaches(self.root)
        if not found:
            raise click.ClickException(f"the tests cannot be run:\n{run.stdout[-2000:]}{run.stderr[-2000:]}")
        failing = set(re.findall(FAILED, run.stdout, re.MULTILINE))
        if failing:
            click.echo(f"{len(failing)} tests fail as things are and are not asked: {', '.join(sorted(failing)[:3])}")
        self.know({f: {line: tests - failing for line, tests in by.items()} for f, by in found.items()})

    def know(self, reaches: REACHES) -> None:
        """Take over which tests reach which lines."""
        self.reaches = reaches
        self.lines_of = Counter(test for lines in reaches.values() for tests in lines.values() for test in tests)

    def tests_for(self, mutation: Mutation) -> list[str]:
        """Return whom to ask: tests that reach the line, the nearest and narrowest first, then others of the file.

        What a module computes once, at its import or behind a cache, is reached by the first test alone, so that tests
        of the same file are asked as well, those first that reach most of it. Many examples of one function of another
        room are asked after some of every other.
        """
        by_line = self.reaches.get(mutation.file, {})
        at_line = by_line.get(mutation.line, set())
        _, room, *parts = mutation.file.removesuffix(".py").split("/")
        near = [f"test_{parts[-1]}.py", f"tests/{room}/{parts[0]}", f"tests/{room}/"] if parts else []
        examples: Counter[str] = Counter()
        of_file = Counter(test for tests in by_line.values() for test in tests)

        def place(test: str) -> tuple[bool, bool, int, int]:
            function = test.partition("[")[0]
            examples[function] += 1
            distance = next((n for n, part in enumerate(near) if part in test), len(near))
            width = self.lines_of[test] if test in at_line else -of_file[test]
            return test not in at_line, distance > 0 and examples[function] > MOST_EXAMPLES, distance, width

        found = sorted(set().union(*by_line.values()))
        random.Random(mutation.start).shuffle(found)  # noqa: S311 - a choice of examples
        return sorted(found, key=place)[:MOST_TESTS]

    def try_all(self, tried: list[Mutation], at_once: int) -> Iterator[tuple[Mutation, bool]]:
        """Try changes side by side, each in a process of its own, and say of each as it ends whether it was noticed."""
        import_libraries()
        running: dict[int, Mutation] = {}
        waiting = list(reversed(tried))
        while waiting or running:
            if waiting and len(running) < at_once:
                mutation = waiting.pop()
                sys.stdout.flush()
                process = os.fork()
                if not process:
                    self.ask_and_end(mutation)
                running[process] = mutation
            else:
                process, status = os.wait()
                yield running.pop(process), status != 0

    def ask_and_end(self, mutation: Mutation) -> None:
        """Run the tests for a change in this process and end it: with 0 if they all pass, killed if it takes long."""
        status = 1
        try:
            Clock.wind()
            silent = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(silent, stream)
            os.chdir(self.root)
            forget_project(self.root)
            change_at_import(self.root / mutation.file, mutation)
            status = self.ask(self.tests_for(mutation))
        finally:
            os._exit(status)

    @staticmethod
    def ask(tests: list[str]) -> int:
        """Run tests up to the first that fails; return 0 if none does."""
        import pytest

        if not tests:
            return 0
        status = int(pytest.main([*OPTIONS, "-x", *tests], plugins=[Clock()]))
        if status == NOT_FOUND:
            # The name of an example holds the place of the checkout: ask the whole function.
            functions = sorted({test.partition("[")[0] for test in tests})
            status = int(pytest.main([*OPTIONS, "-x", *functions], plugins=[Clock()]))
        return status


def import_libraries() -> None:
    """Import the project once, and with it what every run of tests needs; a fork forgets the project again."""
    for name in ("pytest", "hypothesis", "alembic.command", "app.web", "app.work.demo"):
        importlib.import_module(name)


def forget_project(root: Path) -> None:
    """Let the project be imported anew, from a copy."""
    for name in [name for name in sys.modules if name.partition(".")[0] == "app"]:
        del sys.modules[name]
    sys.path.insert(0, str(root))
    sys.pycache_prefix, sys.dont_write_bytecode = str(root / "compiled"), False


def change_at_import(path: Path, mutation: Mutation) -> None:
    """Compile the changed text wherever the module of that file is imported from now on."""
    usual = importlib.machinery.SourceFileLoader.get_code

    def get_code(loader: importlib.machinery.SourceFileLoader, name: str) -> CodeType | None:
        if Path(loader.path) != path:
            return usual(loader, name)
        return compile(mutation.apply(path.read_text(encoding="utf-8")), str(path), "exec", dont_inherit=True)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign, assignment]


@click.command("mutate")
@click.option("--sample", default=60, show_default=True, help="How many changes to try, chosen from all.")
@click.option("--seed", default=1, show_default=True, help="Which ones: the same seed chooses the same.")
@click.option("--place", "places", multiple=True, help="A file or folder to change; without it, all of the scope.")
@click.option("--kept", is_flag=True, help=f"Try the changes listed in {KEPT} instead.")
@click.option("--at-once", default=os.cpu_count() or 1, help="How many changes are tried at the same time.")
def mutate(sample: int, seed: int, places: tuple[str, ...], kept: bool, at_once: int) -> None:
    """Make small wrong changes in a copy, one at a time, and count how many the tests notice."""
    if not hasattr(os, "fork"):
        raise click.ClickException("this command forks itself for every change, which this system cannot do")
    tried = kept_mutations(bootstrap.ROOT) if kept else sampled(bootstrap.ROOT, sample, seed, places or SCOPE)
    with tempfile.TemporaryDirectory(prefix="tarebook-mutate-") as folder:
        place = Workplace.copied(bootstrap.ROOT, Path(folder))
        click.echo(f"Asking every test which of {len(tried)} places it comes by")
        place.learn(tried)
        for same, noticed in place.try_all([replace(one, new=one.old) for one in tried[:1]], 1):
            if noticed:
                raise click.ClickException(f"tests of {same.file} fail or take too long without any change")
        by_room: dict[str, Counter[bool]] = defaultdict(Counter)
        for mutation, noticed in place.try_all(tried, at_once):
            change = mutation.what or f"{mutation.old!r} -> {mutation.new!r}"
            click.echo(f"{'noticed' if noticed else 'NOT NOTICED'}  {mutation.file}:{mutation.line}  {change}")
            by_room[str(Path(mutation.file).parent)][noticed] += 1
    for room, counted in sorted(by_room.items()):
        click.echo(f"{counted[True]:4} of {counted.total():4}  {room}")
    found = sum(by_room.values(), Counter())
    click.echo(f"{found[True]} of {len(tried)} changes noticed, {100 * found[True] / max(len(tried), 1):.0f} %")
