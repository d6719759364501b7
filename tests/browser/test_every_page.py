"""Every kind of page: no text cut on a phone, none beyond the screen, nothing that moves while it loads, a head of one
line, no serious barrier, light and dark."""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask import Flask
from playwright.sync_api import Page

from app.store.engine import Store, sqlite_url
from tests.conftest import Pages

pytestmark = pytest.mark.browser

LINK = re.compile(r'href="(/[^"#]*)')
OTHER = re.compile(r"/static/|\.(pdf|csv|xlsx|json|png|svg|zip|db)(\?|$)")
CUT = (Path(__file__).parent / "cut_text.js").read_text(encoding="utf-8")
BEYOND = "document.documentElement.scrollWidth - innerWidth"
# What moves while a page loads is added up; 0.1 is where a reader is disturbed (Web Vitals, "Cumulative layout shift").
WATCH = """window.moved = 0;
  new PerformanceObserver((seen) => seen.getEntries().forEach((one) => { window.moved += one.value; }))
    .observe({ type: "layout-shift", buffered: true });"""
MOVED = "() => new Promise((tell) => requestAnimationFrame(() => setTimeout(() => tell(window.moved), 0)))"
STILL = 0.01
HEAD = """() => [document.querySelector(".top").offsetHeight,
  new Set([...document.querySelectorAll(".top li")].map((one) => one.offsetTop)).size]"""
INNER = "new Set([...document.querySelectorAll('.inner li')].map((one) => one.offsetTop)).size"
LINE_PX = 48
# Everything that is folded is opened, and of neighbours of one shape (rows, options, fields) the first three stay.
OPEN = "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
SHORTEN = """() => {
  const shape = (one) => [one.tagName, one.getAttribute("class"), one.type, one.getAttributeNames(),
    ...[...one.children].map(shape)].join(" ");
  const thin = (parent) => {
    const seen = {};
    for (const one of [...parent.children]) {
      const own = shape(one);
      seen[own] = (seen[own] ?? 0) + 1;
      if (seen[own] > 3) one.remove(); else thin(one);
    }
  };
  thin(document.body);
}"""
PARTS = 4


def paths(app: Flask) -> Iterator[str]:
    """Give one address of every kind of page that links lead to."""
    adapter, client = app.url_map.bind("localhost"), app.test_client()
    seen, ring = set(), ["/"]
    while ring:
        path = ring.pop(0)
        try:
            endpoint = adapter.match(path.split("?")[0])[0]
        except Exception:  # noqa: S112 - a link that only takes a form, or leads out
            continue
        if endpoint in seen or OTHER.search(path):
            continue
        seen.add(endpoint)
        answer = client.get(path)
        if answer.status_code != 200 or "html" not in answer.headers.get("Content-Type", ""):
            continue
        yield path
        ring += [found.replace("&amp;", "&") for found in LINK.findall(answer.text)]


@pytest.fixture(scope="module")
def addresses(demo_file: Path, pages: Pages, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    store = Store(sqlite_url(Path(shutil.copy(demo_file, tmp_path_factory.mktemp("every") / "demo.db"))))
    found = list(paths(pages.around(store, testing=False)))
    store.close()
    return found


@pytest.fixture
def store(demo: Store) -> Store:
    """The demonstration workshop in place of an empty one."""
    return demo


def test_there_are_pages_of_every_area(addresses: list[str]) -> None:
    areas = {address.split("/")[1] for address in addresses}
    assert areas >= {"", "formulas", "products", "batches", "materials", "library", "read-a-label", "rules", "workshop"}


def moves(page: Page) -> list[str]:
    shift = page.evaluate(MOVED)
    return [f"moves by {shift:.3f} at {page.viewport_size['width']}"] if shift >= STILL else []


@pytest.mark.parametrize("part", range(PARTS))
def test_a_page_is_whole_on_a_phone_keeps_still_and_has_no_serious_barrier(
    visit: Callable[..., Page], axe_of_many: Callable[[Page, Page], list[str]], addresses: list[str], part: int
) -> None:
    page = visit("/", width=390)
    tab = visit("/", width=430)
    page.add_init_script(WATCH)
    start = page.url.rstrip("/")
    faults = {}
    for count, path in enumerate(addresses[part::PARTS]):
        # The colours are the same few on every page, so each page is asked in one scheme, the next in the other.
        for one in (page, tab):
            one.emulate_media(color_scheme=("light", "dark")[count % 2])
        found = []
        # Loaded in two widths where a script of its own could move something; of the others each in one, in turn.
        widths = (390, 1280) if count // 2 % 2 else (1280, 390)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            page.goto(f"{start}{path}")
            found += moves(page)
            if page.evaluate("document.scripts.length") == 1:
                break
        # The head differs only by the area that is marked.
        if path.count("/") == 1:
            page.set_viewport_size({"width": 961, "height": 900})
            high, lines = page.evaluate(HEAD)
            found += [f"the head is {high} high in {lines} lines"] if high > LINE_PX or lines != 1 else []
            page.set_viewport_size({"width": 820, "height": 900})
            found += ["its pages take more than a line at 820"] if page.evaluate(INNER) > 1 else []
        page.set_viewport_size({"width": 360, "height": 900})
        found += [f"cut at 360: {text}" for text in page.evaluate(CUT)]
        page.set_viewport_size({"width": 320, "height": 900})
        found += ["wider than 320"] if page.evaluate(BEYOND) > 0 else []
        page.set_viewport_size({"width": 430, "height": 900})
        found += [f"cut at 430: {text}" for text in page.evaluate(CUT)]
        page.evaluate(OPEN)
        page.evaluate(SHORTEN)
        found += axe_of_many(page, tab)
        if found:
            faults[path] = [*found[:6], f"{len(found)} in all"]
    assert not faults, "\n".join(f"{path}: {found}" for path, found in faults.items())
