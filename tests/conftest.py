"""Shared ground of the suite: a fresh database per test, the application around it, and a statement counter."""

import gc
import os
import secrets
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self

import hypothesis
import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis.internal.conjecture import providers
from jinja2 import FileSystemBytecodeCache
from sqlalchemy import Dialect, Engine, create_engine, event, make_url, text
from sqlalchemy.pool import StaticPool

from app.commands.places import Places
from app.documents.render import pdf_state
from app.store import engine
from app.store.engine import Store, sqlite_url
from app.store.migrate import to_revision
from app.store.workshop import Workshop
from app.web import create_app
from app.work.batches.planning import Plan, plan_batch
from app.work.demo import load_demo
from app.work.equipment import SCALES, ScaleForm
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material

ROOT = Path(__file__).resolve().parents[1]
# Chromium without its windows costs half as much and lays out and runs a page the same.
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
BROWSER_PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)

# The examples are the same at every run; `python3 -m app test --explore` looks for new ones. The machine is shared,
# so there is no limit to the time of one example.
hypothesis.settings.register_profile("tarebook", deadline=None, derandomize=True)
hypothesis.settings.register_profile("explore", deadline=None, max_examples=500, print_blob=True)
hypothesis.settings.load_profile("tarebook")


def draw_from_strategies_alone(config: pytest.Config) -> None:
    """Keep the examples the same: Hypothesis mixes in constants of whatever modules a process has loaded by then."""
    if config.getoption("--hypothesis-profile", None) != "explore":
        assert callable(providers._get_local_constants)
        providers._get_local_constants = lambda: providers._local_constants


def in_memory() -> str | None:
    """Name a folder in memory where there is one with room: every save of a workshop waits for the disk otherwise."""
    place = "/dev/shm"  # noqa: S108 - only looked for
    return place if os.access(place, os.W_OK) and shutil.disk_usage(place).free > 2_000_000_000 else None


def compile_statements_once() -> None:
    """Let the engines of a process share what was compiled for their kind of database: a test has one of its own."""
    connected: dict[str, Dialect] = {}
    compiled: dict[object, object] = {}

    def sharing(url: str, **options: Any) -> Engine:
        made = create_engine(url, **options)
        made.dialect = connected.get(made.dialect.name, made.dialect)
        made.update_execution_options(compiled_cache=compiled)
        # A dialect learns at its first connection what its database can do; before that nobody else may have it.
        event.listen(made, "first_connect", lambda *_: connected.setdefault(made.dialect.name, made.dialect))
        return made

    engine.create_engine = sharing


def pytest_configure(config: pytest.Config) -> None:
    """Keep the suite away from the person's own workshop."""
    # What is collected stays to the end, so nothing is swept until then.
    gc.disable()
    compile_statements_once()
    draw_from_strategies_alone(config)
    # A suite that was started in the background ignores Ctrl-C, and so would every program that its tests start.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    # Templates are compiled once for all processes and runs; what is kept is told by its source.
    compiled = Path(sys.pycache_prefix or ROOT / ".pytest_cache") / "templates"
    compiled.mkdir(parents=True, exist_ok=True)
    Flask.jinja_options = {"bytecode_cache": FileSystemBytecodeCache(str(compiled))}
    home = tempfile.TemporaryDirectory(prefix="tarebook-tests-", dir=in_memory())
    config.add_cleanup(home.cleanup)
    if not config.option.basetemp:
        config.option.basetemp = str(Path(home.name) / "made")
    os.environ["TAREBOOK_HOME"] = home.name
    os.environ.pop("TAREBOOK_DATABASE_URL", None)


def pytest_collection_finish() -> None:
    """Look no more through what is there before the first test whenever memory is swept."""
    gc.freeze()
    gc.enable()
    gc.set_threshold(200_000, 20, 50)


def chromium_path() -> str | None:
    """Find a browser to drive; TAREBOOK_CHROMIUM names one."""
    named = os.environ.get("TAREBOOK_CHROMIUM")
    found = (named, *map(shutil.which, BROWSERS), *(place for place in BROWSER_PLACES if Path(place).exists()))
    return next((path for path in found if path), None)


def no_browser() -> str:
    return "" if chromium_path() else "no Chromium or Chrome is installed; TAREBOOK_CHROMIUM can name one"


def no_server() -> str:
    return "" if os.environ.get("TAREBOOK_TEST_POSTGRESQL") else "TAREBOOK_TEST_POSTGRESQL names no PostgreSQL database"


MISSING: dict[str, Callable[[], str]] = {
    "browser": no_browser,
    "paper": lambda: pdf_state().advice,
    "postgresql": no_server,
}


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip what this machine cannot do, with the reason; where it is required, fail instead."""
    for marker, missing in MISSING.items():
        reason = missing() if item.get_closest_marker(marker) else ""
        if reason and os.environ.get(f"TAREBOOK_REQUIRE_{marker.upper()}") == "1":
            pytest.fail(reason, pytrace=False)
        elif reason:
            pytest.skip(reason)


@pytest.fixture
def database(request: pytest.FixtureRequest) -> str:
    """The kind of database: SQLite, and in the rooms of the store and the actions PostgreSQL as well."""
    return str(getattr(request, "param", "sqlite"))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Ask what the store and the actions do of both kinds of database, where a server is named."""
    both = metafunc.definition.path.is_relative_to(ROOT / "tests" / "store") or metafunc.definition.path.is_relative_to(
        ROOT / "tests" / "work"
    )
    if both and "database" in metafunc.fixturenames and not metafunc.definition.get_closest_marker("sqlite"):
        server = [] if no_server() else ["postgresql"]
        metafunc.parametrize("database", ["sqlite", *server], indirect=True)


def lay_out(url: str, *, demo: bool) -> None:
    """Make the tables of a database and put a workshop in: the demonstration, or an empty one."""
    to_revision(url)
    store = Store(url)
    if demo:
        load_demo(store)
    else:
        with store.transaction() as session:
            session.add(Workshop(id=1, name="Larch Street workshop"))
    store.close()


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database at the newest revision with a workshop in it, made once and copied for each test."""
    path = tmp_path_factory.mktemp("database") / "tarebook.db"
    lay_out(sqlite_url(path), demo=False)
    return path


FIRST_WORKSHOP = """
INSERT INTO workshop (id, name, address, contact, currency, locale, paper, jurisdiction, batch_number_pattern,
                      labour_rate, overhead_percent, tax_percent, loss_percent, is_demo, row_version)
VALUES (1, 'Old workshop', '', '', 'EUR', 'en', 'A4', 'EU', '{code}', '0', '0', '0', '0', 0, 1)
"""


@pytest.fixture(scope="session")
def first_release(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop as the first release left it."""
    path = tmp_path_factory.mktemp("first") / "tarebook.db"
    to_revision(sqlite_url(path), "0001")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(FIRST_WORKSHOP)
    return path


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration workshop, loaded once and copied for each test that asks for it."""
    path = tmp_path_factory.mktemp("demo") / "tarebook.db"
    lay_out(sqlite_url(path), demo=True)
    return path


class Server:
    """The PostgreSQL server that TAREBOOK_TEST_POSTGRESQL names: databases made, copied and dropped on it."""

    def __init__(self) -> None:
        self.url = make_url(os.environ["TAREBOOK_TEST_POSTGRESQL"])
        self.engine = create_engine(self.url, isolation_level="AUTOCOMMIT", poolclass=StaticPool)
        self.samples: dict[bool, str] = {}

    @contextmanager
    def database(self, template: str = "template1") -> Iterator[str]:
        """Make a database, give its address, and drop it afterwards."""
        name = f"tarebook_{secrets.token_hex(6)}"
        with self.engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template}"))
            yield self.url.set(database=name).render_as_string(hide_password=False)
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))

    @contextmanager
    def copy(self, *, demo: bool) -> Iterator[str]:
        """Copy a sample that is made once."""
        if demo not in self.samples:
            sample = self.made.enter_context(self.database())
            lay_out(sample, demo=demo)
            self.samples[demo] = str(make_url(sample).database)
        with self.database(self.samples[demo]) as url:
            yield url

    def __enter__(self) -> Self:
        self.made = ExitStack()
        return self

    def __exit__(self, *_: object) -> None:
        self.made.close()
        self.engine.dispose()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with Server() as server:
        yield server


@pytest.fixture
def empty_server(server: Server) -> Iterator[str]:
    """The address of an empty database on the server."""
    with server.database() as url:
        yield url


def open_copy(request: pytest.FixtureRequest, database: str, path: Path, *, demo: bool) -> Iterator[Store]:
    """Open a copy of a database that was made once."""
    with ExitStack() as stack:
        if database == "postgresql":
            url = stack.enter_context(request.getfixturevalue("server").copy(demo=demo))
        else:
            url = sqlite_url(Path(shutil.copy(request.getfixturevalue("demo_file" if demo else "migrated_file"), path)))
        store = Store(url)
        store.files = path.parent / "files"
        if demo and database != "postgresql":
            shutil.copytree(request.getfixturevalue("demo_file").parent / "files", store.files, dirs_exist_ok=True)
        yield store
        store.close()


@pytest.fixture
def store(request: pytest.FixtureRequest, database: str, tmp_path: Path) -> Iterator[Store]:
    yield from open_copy(request, database, tmp_path / "tarebook.db", demo=False)


@pytest.fixture
def demo(request: pytest.FixtureRequest, database: str, tmp_path: Path) -> Iterator[Store]:
    yield from open_copy(request, database, tmp_path / "demo.db", demo=True)


class Pages:
    """The application, made once and put around the store of each test: its addresses take long to compile."""

    def __init__(self) -> None:
        self.apps: dict[bool, Flask] = {}

    def around(self, store: Store, *, testing: bool) -> Flask:
        """Return the application on a store; where it is testing, what goes wrong in a view reaches the test."""
        if testing not in self.apps:
            self.apps[testing] = create_app(store, secret=b"a key for tests")
            self.apps[testing].config["TESTING"] = testing
        self.apps[testing].extensions["store"] = store
        return self.apps[testing]


@pytest.fixture(scope="session")
def pages() -> Pages:
    return Pages()


@pytest.fixture
def demo_client(demo: Store, pages: Pages) -> FlaskClient:
    return pages.around(demo, testing=False).test_client()


@pytest.fixture
def app(store: Store, pages: Pages) -> Flask:
    return pages.around(store, testing=True)


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


class CountStatements(Protocol):
    def __call__(self, of: Store | None = None) -> AbstractContextManager[list[str]]: ...


@pytest.fixture
def statements(request: pytest.FixtureRequest) -> CountStatements:
    """Give a context that collects the SQL statements sent while it is open, to the store or to the one named."""

    @contextmanager
    def collecting(of: Store | None = None) -> Iterator[list[str]]:
        sent: list[str] = []
        engine = (of or request.getfixturevalue("store")).engine

        def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
            sent.append(statement)

        event.listen(engine, "before_cursor_execute", note)
        try:
            yield sent
        finally:
            event.remove(engine, "before_cursor_execute", note)

    return collecting


class Served:
    """The real program, serving a folder on a free port as a process of its own."""

    def __init__(self, folder: Path, *command: str) -> None:
        self.folder = folder
        self.words: list[str] = []
        options = ("--data", str(folder), "--port", "0", "--no-browser")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "app.commands.cli", *(command or ("serve",)), *options],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.address = self._await_address()

    def _await_address(self) -> str:
        assert self.process.stdout
        for line in self.process.stdout:
            self.words.append(line.rstrip())
            if " ready at " in line:
                return line.split()[-1]
        self.process.communicate()
        pytest.fail("it did not start: " + "\n".join(self.words[-5:]), pytrace=False)

    def stop(self, sign: int = signal.SIGTERM) -> int:
        """End it as a system would, and give its exit status."""
        self.process.send_signal(sign)
        # Read on with the file that read the first lines: what it holds already is lost to ``communicate``.
        assert self.process.stdout
        with self.process.stdout as rest:
            self.words += rest.read().splitlines()
        return self.process.wait(timeout=20)


@pytest.fixture
def serve(migrated_file: Path) -> Iterator[Callable[..., Served]]:
    """Give a function that serves a folder; a folder without a workshop gets an empty one first."""
    running: list[Served] = []

    def start(folder: Path, *command: str) -> Served:
        folder.mkdir(parents=True, exist_ok=True)
        if not command and not (folder / "tarebook.db").exists():
            shutil.copy(migrated_file, folder / "tarebook.db")
        running.append(Served(folder, *command))
        return running[-1]

    yield start
    for served in running:
        if served.process.poll() is None:
            served.stop()


@pytest.fixture
def demonstration_in(demo_file: Path) -> Callable[[Path], Path]:
    """Give a function that lays the demonstration into a folder, as its first start would have done, and returns it."""

    def lay(folder: Path) -> Path:
        place = Places(folder).demonstration.database
        place.parent.mkdir(parents=True)
        shutil.copy(demo_file, place)
        shutil.copytree(demo_file.parent / "files", place.parent / "files")
        return folder

    return lay


@dataclass(frozen=True)
class GelBatch:
    """A planned batch of 500 g of a carbomer gel: its ids, and the materials by a short word."""

    formula_id: int
    batch_id: int
    materials: dict[str, int]


@pytest.fixture(scope="session")
def gel_file(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, GelBatch]:
    """A workshop with the batch of a gel, planned once and copied for each test that asks for it."""
    path = Path(shutil.copy(migrated_file, tmp_path_factory.mktemp("gel") / "tarebook.db"))
    store = Store(sqlite_url(path))
    planned = plan_gel(store)
    store.close()
    return path, planned


@pytest.fixture
def gel(request: pytest.FixtureRequest, store: Store, database: str) -> GelBatch:
    """Plan a batch of a gel that sodium hydroxide brings to pH 6.2."""
    if database == "postgresql":
        return plan_gel(store)
    path, planned = request.getfixturevalue("gel_file")
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(str(store.engine.url.database))) as target:
        source.backup(target)
    return planned


def plan_gel(store: Store) -> GelBatch:
    """Put a gel, what it is made of, a scale and a planned batch into a workshop."""
    shelf = {
        "water": ("Water, purified", (("Aqua", "100"),)),
        "carbomer": ("Carbomer powder", (("Carbomer", "100"),)),
        "glycerin": ("Glycerin, vegetable", (("Glycerin", "100"),)),
        "alkali": ("Sodium hydroxide 10 %", (("Sodium Hydroxide", "10"), ("Aqua", "90"))),
        "acid": ("Citric acid 20 %", (("Citric Acid", "20"), ("Aqua", "80"))),
    }
    ids = {
        word: add_material(store, MaterialForm(name=name, parts=tuple(PartForm(*part) for part in parts)))
        for word, (name, parts) in shelf.items()
    }
    amounts = {"water": "", "glycerin": "3", "carbomer": "0.5", "alkali": "1.8"}
    lines = tuple(DraftLine(word, "a", shelf[word][0], None, amount, not amount) for word, amount in amounts.items())
    draft = Draft(phases=(DraftPhase("a", "Gel"),), lines=lines, target_ph="6.2", batch="500 g")
    formula_id = create(store, "Bench gel", code="BG", content=draft)
    SCALES.add(store, ScaleForm("Bench scale", "0.01 g", "2 kg"))
    batch_id = plan_batch(store, Plan(formula_id, None, "500 g", planned_on="2026-11-25", made_by="Ines"))
    return GelBatch(formula_id, batch_id, ids)
