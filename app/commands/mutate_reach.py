"""A pytest plugin that notes which test comes by which lines of a few files, at next to no cost.

Where the environment names a list of lines, the modules it speaks of are compiled with a call before the statement of
each line, and at the beginning of every function: ``__comes_by__(file, line)``. Coverage measures every line of
everything and takes a multiple of the time.
"""

import ast
import builtins
import importlib.machinery
import json
import os
import uuid
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import CodeType
from typing import Any

CALL, ASKED, NOTED = "__comes_by__", "MUTATE_LINES", "reached-*.json"
Function = ast.FunctionDef | ast.AsyncFunctionDef


def marked(text: str, file: str, lines: set[int]) -> ast.Module:
    """Return the tree of a module with a call before the statement of each line, and first in every function."""
    tree = ast.parse(text)
    for block, owner in list(_blocks(tree)):
        first = 1 if isinstance(owner, Function) and ast.get_docstring(owner, clean=False) is not None else 0
        for place in range(len(block) - 1, -1, -1):
            inner = {line for below, _ in _blocks(block[place]) for one in below for line in _lines(one)}
            own = lines & (_lines(block[place]) - inner)
            if place >= first or not isinstance(owner, Function):
                block[place:place] = [_call(file, line, block[place]) for line in sorted(own)]
        if isinstance(owner, Function):
            block.insert(first, _call(file, owner.lineno, block[min(first, len(block) - 1)]))
    return ast.fix_missing_locations(tree)


def _lines(statement: ast.AST) -> set[int]:
    node: Any = statement
    return set(range(node.lineno, node.end_lineno + 1))


def _blocks(tree: ast.AST) -> Iterator[tuple[list[ast.stmt], ast.AST]]:
    """Go through every row of statements with what it stands in."""
    for node in ast.walk(tree):
        for _, value in ast.iter_fields(node):
            if isinstance(value, list) and value and isinstance(value[0], ast.stmt):
                yield value, node


def _call(file: str, line: int, place: ast.stmt) -> ast.stmt:
    call = ast.Call(ast.Name(CALL, ast.Load()), [ast.Constant(file), ast.Constant(line)], [])
    return ast.copy_location(ast.Expr(call), place)


class ReachNotes:
    """Notes of the test that runs which lines it comes by."""

    def __init__(self, root: Path, lines: dict[str, list[int]]) -> None:
        self.root, self.test = root, ""
        self.lines = {str(root / file): (file, set(wanted)) for file, wanted in lines.items()}
        self.found: dict[tuple[str, int], set[str]] = defaultdict(set)

    def listen(self) -> None:
        """Compile the files with their calls from now on."""
        usual = importlib.machinery.SourceFileLoader.get_code

        def get_code(loader: importlib.machinery.SourceFileLoader, name: str) -> CodeType | None:
            if loader.path not in self.lines:
                return usual(loader, name)
            text = Path(loader.path).read_text(encoding="utf-8")
            return compile(marked(text, *self.lines[loader.path]), loader.path, "exec", dont_inherit=True)

        importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign, assignment]
        setattr(builtins, CALL, self.comes_by)

    def comes_by(self, file: str, line: int) -> None:
        """Note that the test of the moment comes by a line."""
        self.found[file, line].add(self.test)

    def pytest_runtest_setup(self, item: Any) -> None:
        """Note for another test from now on."""
        self.test = item.nodeid

    def pytest_sessionfinish(self) -> None:
        """Write down what was noted."""
        rows = [(file, line, sorted(tests - {""})) for (file, line), tests in self.found.items()]
        (self.root / NOTED.replace("*", uuid.uuid4().hex)).write_text(json.dumps(rows), encoding="utf-8")


def reaches(root: Path) -> dict[str, dict[int, set[str]]]:
    """Return, of all that was written down, which tests come by which lines of which file."""
    found: dict[str, dict[int, set[str]]] = defaultdict(lambda: defaultdict(set))
    for path in root.glob(NOTED):
        for file, line, tests in json.loads(path.read_text(encoding="utf-8")):
            found[file][line] |= set(tests)
    return {file: dict(lines) for file, lines in found.items()}


def pytest_configure(config: Any) -> None:
    """Write down at the end of the run what was noted."""
    if LISTENING is not None:
        config.pluginmanager.register(LISTENING)


LISTENING: ReachNotes | None = None
if ASKED in os.environ:
    _asked = json.loads(Path(os.environ[ASKED]).read_text(encoding="utf-8"))
    LISTENING = ReachNotes(Path(os.environ[ASKED]).parent, _asked)
    LISTENING.listen()
