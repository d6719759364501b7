"""Every kind of page on a phone: no text cut by its box, none beyond the screen, one first heading."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page

from app.store.engine import Store
from app.web import create_app

pytestmark = pytest.mark.browser

LINK = re.compile(r'href="(/[^"#]*)')
OTHER = re.compile(r"/static/|\.(pdf|csv|xlsx|json|png|svg|zip|db)(\?|$)")
CUT = (Path(__file__).parent / "cut_text.js").read_text(encoding="utf-8")


def paths(app: Flask, client: FlaskClient) -> Iterator[str]:
    """Give one address of every kind of page that links lead to."""
    adapter = app.url_map.bind("localhost")
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


@pytest.fixture
def store(demo: Store) -> Store:
    """The demonstration workshop in place of an empty one."""
    return demo


@pytest.mark.parametrize("width", [360, 430])
def test_no_text_is_cut_on_a_phone(visit: Callable[..., Page], store: Store, chromium: Browser, width: int) -> None:
    app = create_app(store, secret=b"a key for tests")
    page = visit("/", width=width)
    start = page.url.rstrip("/")
    cut = {}
    for count, path in enumerate(paths(app, app.test_client())):
        if width == 430 and count % 4:
            continue
        page.goto(f"{start}{path}")
        page.wait_for_timeout(60)
        if found := page.evaluate(CUT):
            cut[path] = [*found[:4], f"{len(found)} in all"]
    assert not cut, "\n".join(f"{path}: {found}" for path, found in cut.items())
