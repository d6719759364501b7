"""A real Chromium in front of the real application, for what only a browser can show."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from flask import Flask
from playwright.sync_api import Browser, Page, sync_playwright
from waitress.server import create_server

from app.store.engine import Store
from tests.conftest import Pages, chromium_path

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--in-process-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
STANDARDS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
SERIOUS = {"serious", "critical"}


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser of this machine, started once."""
    path = chromium_path()
    if path is None:
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


class Bench:
    """The application of one database, served on a port that can be closed and opened again."""

    def __init__(self, app: Flask) -> None:
        self.app = app
        self.port = 0
        self.called = threading.Lock()
        self.open()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def open(self) -> None:
        self.server = create_server(self.app, host="127.0.0.1", port=self.port, threads=4)
        self.port = self.server.effective_port
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def close(self) -> None:
        self.server.task_dispatcher.shutdown()
        # Its own thread closes the sockets: closed from here, they could be gone in the middle of its wait. It may be
        # awake already, and closes none before the call that wakes it has ended.
        with self.called:
            self.server.trigger.pull_trigger(self._leave)
        self.thread.join(timeout=5)

    def _leave(self) -> None:
        with self.called:
            for channel in list(self.server.active_channels.values()):
                channel.handle_close()
            self.server.close()


@pytest.fixture
def bench(store: Store, pages: Pages) -> Iterator[Bench]:
    bench = Bench(pages.around(store, testing=False))
    yield bench
    bench.close()


@dataclass
class Opened:
    """Opens pages that fail the test when their script breaks."""

    browser: Browser
    address: str
    faults: list[str]

    def __call__(self, path: str, *, width: int = 1280, **options: Any) -> Page:
        context = self.browser.new_context(viewport={"width": width, "height": 900}, **options)
        page = context.new_page()
        page.set_default_timeout(8000)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("console", self._note)
        page.goto(f"{self.address}{path}")
        return page

    def _note(self, message: Any) -> None:
        expected = ("409 (CONFLICT)", "422 (UNPROCESSABLE", "ERR_CONNECTION", "Failed to fetch")
        if message.type == "error" and not any(words in message.text for words in expected):
            self.faults.append(message.text)


@pytest.fixture
def visit(chromium: Browser, bench: Bench) -> Iterator[Opened]:
    opened = Opened(chromium, bench.address, [])
    yield opened
    for context in chromium.contexts:
        context.close()
    assert opened.faults == []


OPTIONS = {"runOnly": list(STANDARDS), "resultTypes": ["violations"]}
# Scripts of a page that is taken over this way do not run: it stands as it was handed over.
TAKE_OVER = """async ([html, options]) => {
  const read = new DOMParser().parseFromString(html, "text/html");
  document.documentElement.replaceWith(document.adoptNode(read.documentElement));
  const styles = [...document.querySelectorAll("link[rel=stylesheet]")].filter((one) => !one.sheet);
  await Promise.all(styles.map((one) => new Promise((done) => { one.onload = one.onerror = done; })));
  return await axe.run(document, options);
}"""


def serious(response: dict[str, Any]) -> list[str]:
    """List the serious faults of what axe found."""
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in response["violations"]
        if one["impact"] in SERIOUS
        for node in one["nodes"]
    ]


@pytest.fixture
def axe() -> Callable[[Page], list[str]]:
    """Give a check that lists the serious faults axe finds on a page."""
    return lambda page: serious(Axe().run(page, options=OPTIONS).response)


@pytest.fixture
def axe_of_many() -> Callable[[Page, Page], list[str]]:
    """Give the same check for many pages, in a second tab where axe stays loaded: loading it is half of the work."""
    ready: set[Page] = set()

    def check(page: Page, tab: Page) -> list[str]:
        if tab not in ready:
            tab.evaluate(Axe().axe_script)
            ready.add(tab)
        return serious(tab.evaluate(TAKE_OVER, [page.evaluate("document.documentElement.outerHTML"), OPTIONS]))

    return check
