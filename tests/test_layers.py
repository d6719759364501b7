"""The rooms of ``app`` import only rooms below them."""

import ast
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jinja2 import Environment, nodes

ROOT = Path(__file__).resolve().parents[1]
APP = ROOT / "app"
ROOMS = ("science", "reference", "store", "work", "documents", "web", "commands")
MAY_IMPORT = {
    "science": set(),
    "reference": {"science"},
    "store": {"science"},
    "work": {"science", "reference", "store"},
    "documents": {"science", "reference", "store", "work"},
    "web": {"science", "reference", "store", "work", "documents"},
    "commands": {"science", "reference", "store", "work", "documents", "web", "bootstrap"},
    "bootstrap": {"commands"},
    "__main__": {"bootstrap"},
    "__init__": set(),
}
SCIENCE_PACKAGES = {"numpy", "scipy", "pint"}
FIRST_STEPS = [APP / "__init__.py", APP / "__main__.py", APP / "bootstrap.py"]
FORBIDDEN_IN_SCIENCE = {"socket", "urllib", "http", "sqlite3", "subprocess", "time"}
FILE_CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "now", "today", "utcnow"}


@cache
def imported(path: Path) -> frozenset[str]:
    """Name every module that a file imports, wherever in the file it does."""
    return frozenset(imports_in(parsed(path), ".".join(("app", *path.relative_to(APP).parts[:-1]))))


def parsed(path: Path) -> ast.AST:
    return ast.parse(path.read_text(encoding="utf-8"))


def imports_in(tree: ast.AST, package: str) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = ".".join([*package.split(".")[: len(package.split(".")) - node.level + 1]]) if node.level else ""
            module = ".".join(piece for piece in (base, node.module or "") if piece)
            yield from (f"{module}.{name.name}" for name in node.names)


def room(path: Path) -> str:
    first = path.relative_to(APP).parts[0]
    return first.removesuffix(".py")


def rooms_imported(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imported(path) if name.startswith("app.")} & set(MAY_IMPORT)


def upward(path: Path) -> set[str]:
    return rooms_imported(path) - MAY_IMPORT[room(path)] - {room(path)}


FILES = sorted(APP.rglob("*.py"))


def test_every_room_of_the_table_is_there_and_no_other() -> None:
    assert {path.name for path in APP.iterdir() if (path / "__init__.py").exists()} == set(ROOMS)
    assert {room(path) for path in FILES} <= set(MAY_IMPORT)


def offenders(found: dict[Path, Any]) -> dict[str, Any]:
    """Name the files for which something was found, with what it was."""
    return {str(path.relative_to(APP)): what for path, what in found.items() if what}


def test_a_file_imports_only_what_stands_below_it() -> None:
    assert not offenders({path: upward(path) for path in FILES})


@pytest.mark.parametrize(
    ("place", "text", "rooms"),
    [
        ("store/x.py", "from app.web import create_app", {"web"}),
        ("store/x.py", "def f():\n    import app.work.clock", {"work"}),
        ("store/x.py", "from app import reference", {"reference"}),
        ("science/deep/x.py", "from ...store import engine", {"store"}),
        ("work/x.py", "from app.store.engine import Store", set()),
        ("science/deep/x.py", "from ..errors import Invalid", set()),
        ("reference/x.py", "from app.store import engine", {"store"}),
    ],
)
def test_the_check_itself_sees_an_upward_arrow(
    place: str, text: str, rooms: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.modules[__name__], "APP", tmp_path)
    path = tmp_path / place
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    assert upward(path) == rooms


def outside(path: Path) -> set[str]:
    """Name what a file imports that is neither ours nor the standard library's."""
    tops = {name.split(".")[0] for name in imported(path)}
    return tops - set(sys.stdlib_module_names) - {"app"}


SCIENCE = sorted((APP / "science").rglob("*.py"))


def test_science_needs_only_numbers() -> None:
    assert not offenders({path: beyond_numbers(path) for path in SCIENCE})


def beyond_numbers(path: Path) -> set[str]:
    """Name what a file of science uses besides numbers: other packages, the clock, files, the network."""
    tops = {name.split(".")[0] for name in imported(path)}
    calls = [node for node in ast.walk(parsed(path)) if isinstance(node, ast.Call)]
    called = {getattr(node.func, "attr", getattr(node.func, "id", "")) for node in calls}
    return (outside(path) - SCIENCE_PACKAGES) | (tops & FORBIDDEN_IN_SCIENCE) | (called & FILE_CALLS)


@pytest.mark.parametrize("path", FIRST_STEPS, ids=lambda path: path.name)
def test_the_first_steps_need_nothing_and_an_old_python_can_read_them(path: Path) -> None:
    ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 8))
    assert not outside(path)


def test_pages_documents_and_science_never_see_sql() -> None:
    above = [path for path in FILES if room(path) in {"web", "documents", "reference", "science"}]
    assert not offenders({path: outside(path) & {"sqlalchemy", "alembic", "sqlite3", "psycopg"} for path in above})


# What makes tables, types and triggers, or speaks SQL as text: of the store alone.
OF_THE_STORE = {
    "CheckConstraint", "Column", "DDL", "DeclarativeBase", "ForeignKey", "Index", "Mapped", "MetaData", "Table", "Text",
    "TypeDecorator", "UniqueConstraint", "create_engine", "event", "mapped_column", "relationship", "sessionmaker",
    "text",
}  # fmt: skip


def from_sqlalchemy(path: Path) -> set[str]:
    return {name.rpartition(".")[2] for name in imported(path) if name.startswith("sqlalchemy")}


def test_actions_may_query_and_only_the_store_makes_tables() -> None:
    actions = [path for path in FILES if room(path) == "work"]
    assert not offenders({path: from_sqlalchemy(path) & OF_THE_STORE for path in actions})
    querying = {path for path in actions if from_sqlalchemy(path) & {"select", "update", "delete"}}
    assert querying
    assert not offenders({path: set(outside(path)) & {"alembic", "sqlite3", "psycopg"} for path in actions})


# What a template may call: addresses, keys of forms, finished values that were read once for the request, and words.
OF_TEMPLATES = {
    "address", "caller", "currency_symbol", "form_key", "get_flashed_messages", "namespace", "neighbours", "pdf_state",
    "person", "range", "url_for", "workshop",
}  # fmt: skip
# What views hand over to write a value out: each takes what it is given and reads nothing.
WRITES_OUT = {"counts", "decimals", "most_decimals", "new_id", "newest_price", "width_text"}
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))


def tree_of(path: Path) -> nodes.Template:
    return Environment(extensions=["jinja2.ext.do"], autoescape=True).parse(path.read_text(encoding="utf-8"))


def called_names(tree: nodes.Template) -> set[str]:
    """Name the functions a template calls, what it walks through aside."""
    walked = {target.name for each in tree.find_all(nodes.For) for target in each.target.find_all(nodes.Name)}
    return {call.node.name for call in tree.find_all(nodes.Call) if isinstance(call.node, nodes.Name)} - walked


def test_templates_get_finished_values_and_start_no_computation() -> None:
    trees = {str(path.relative_to(ROOT / "templates")): tree_of(path) for path in TEMPLATES}
    macros = {macro.name for tree in trees.values() for macro in tree.find_all(nodes.Macro)}
    beyond = {name: called_names(tree) - OF_TEMPLATES - WRITES_OUT - macros for name, tree in trees.items()}
    assert not {name: names for name, names in beyond.items() if names}


def test_only_one_place_gives_templates_their_functions() -> None:
    giving = [path for path in FILES if "template_global" in path.read_text(encoding="utf-8")]
    assert not giving
