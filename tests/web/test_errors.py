"""A crawler that fills every field of every form with what should not be there: each answer stays a plain page."""

import shutil
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import quote_from_bytes, urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient
from markupsafe import escape
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store, sqlite_url
from app.store.errors import Conflict, Unusable
from app.store.workshop import ScaleRow
from app.web import create_app

SCRIPT = "\"'><script>alert(7)</script>"
HOSTILE = [SCRIPT, "NaN", "1e400", "-1", "", "x" * 20_000, "nul\x00byte", "half \ud800 pair", "=cmd|' /C calc'!A0"]
SHOWN = ("/", "/formulas", "/formulas/1", "/materials", "/batches", "/batches/1", "/workshop", "/workshop/scales")
MOST_PAGES = 120
SAMPLES = 2


@dataclass(frozen=True)
class Form:
    """Where a form goes, what it holds, and which of its fields are typed into."""

    action: str
    held: tuple[tuple[str, str], ...]
    typed: tuple[str, ...]


class Reader(HTMLParser):
    """Collects the links and the posted forms of a page."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.path, self.links, self.forms = path, [], []  # type: ignore[var-annotated]
        self.action, self.held, self.typed = "", {}, []  # type: ignore[var-annotated]

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        held = {key: value or "" for key, value in attributes}
        if tag == "a" and held.get("href", "").startswith("/"):
            self.links.append(held["href"].split("#")[0])
        if tag == "form":
            posted = held.get("method", "get").lower() == "post"
            self.action, self.held, self.typed = (held.get("action") or self.path) if posted else "", {}, []
        if tag in ("input", "textarea", "select", "button") and held.get("name"):
            self._field(tag, held)

    def _field(self, tag: str, held: dict[str, str]) -> None:
        fixed = held.get("type") in ("hidden", "checkbox", "radio") or tag == "button"
        self.held.setdefault(held["name"], held.get("value", ""))
        if not fixed and held.get("type") != "file":
            self.typed.append(held["name"])

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self.action:
            self.forms.append(Form(self.action, tuple(self.held.items()), tuple(self.typed)))
            self.action = ""


@pytest.fixture(scope="module")
def forms(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Form]:
    """Walk from the first page along every link, two addresses of each kind, and collect the forms."""
    store = Store(sqlite_url(Path(shutil.copy(demo_file, tmp_path_factory.mktemp("crawl") / "demo.db"))))
    app = create_app(store, secret=b"a key for tests")
    found = {(kind(app, form.action), form.typed): form for form in crawl(app)}
    store.close()
    return list(found.values())


def kind(app: Flask, address: str, method: str = "POST") -> str:
    match = app.url_map.bind("localhost").match(urlsplit(address).path, method=method)
    return str(match[0])


def crawl(app: Flask) -> Iterator[Form]:
    client, waiting, seen = app.test_client(), ["/"], dict[str, int]()
    visited: set[str] = set()
    while waiting and len(visited) < MOST_PAGES:
        address = waiting.pop(0)
        endpoint = kind(app, address, "GET")
        if address in visited or seen.get(endpoint, 0) >= SAMPLES or endpoint == "static" or ".pdf" in address:
            continue
        visited.add(address)
        seen[endpoint] = seen.get(endpoint, 0) + 1
        answer = client.get(address)
        assert answer.status_code in (200, 302, 303, 422), address
        if answer.mimetype == "text/html":
            reader = Reader(address)
            reader.feed(answer.text)
            waiting += reader.links
            yield from reader.forms


def body(form: Form, bad: str) -> str:
    """Write the form as a hostile client would: half characters go out as they are."""
    fields = {**dict(form.held), **dict.fromkeys(form.typed, bad)}
    sent = {name: quote_from_bytes(text.encode("utf-8", "surrogatepass")) for name, text in fields.items()}
    return "&".join(f"{quote_from_bytes(name.encode())}={text}" for name, text in sent.items())


def send(client: FlaskClient, form: Form, bad: str):  # type: ignore[no-untyped-def]
    return client.post(form.action, data=body(form, bad), content_type="application/x-www-form-urlencoded")


def test_the_crawler_meets_the_forms_of_every_area(forms: list[Form]) -> None:
    areas = {form.action.split("/")[1] for form in forms if form.typed}
    assert areas >= {"batches", "formulas", "materials", "workshop", "read-a-label"}
    assert len(forms) >= 25


@pytest.mark.parametrize("bad", HOSTILE, ids=lambda text: repr(text[:12]))
def test_no_field_of_any_form_breaks_a_page(demo_client: FlaskClient, forms: list[Form], bad: str) -> None:
    faults = []
    # A form without a field to type into says the same each time, so it is sent with the first of them alone.
    for form in (form for form in forms if form.typed or bad == HOSTILE[0]):
        answer = send(demo_client, form, bad)
        if answer.status_code >= 500:
            faults.append(f"{form.action}: {answer.status_code}")
        if "<script>alert" in answer.text:
            faults.append(f"{form.action}: shown as markup")
        if answer.status_code == 422 and answer.mimetype == "text/html" and bad.isascii() and 0 < len(bad) < 40:
            faults += [f"{form.action}: what was typed is gone"] if is_lost(form, bad, answer.text) else []
    for path in SHOWN:
        answer = demo_client.get(path)
        if answer.status_code >= 500 or "<script>alert" in answer.text:
            faults.append(f"{path}: broken by what was stored")
    assert faults == []


def is_lost(form: Form, bad: str, page: str) -> bool:
    """Tell whether the answer shows none of what was typed; a NUL, which no page can hold, may go."""
    return bool(form.typed) and str(escape(bad.replace("\x00", ""))) not in page.replace("\x00", "")


def form_of(page: str, path: str) -> Form:
    reader = Reader(path)
    reader.feed(page)
    return reader.forms[-1]


WORDS = "typed a while ago"


@pytest.mark.parametrize(
    ("fault", "status"),
    [(Unusable("the disk is full"), 503), (Conflict("taken"), 409), (RuntimeError("something else"), 500)],
    ids=["full", "overtaken", "broken"],
)
def test_what_was_typed_comes_back_from_every_form_whatever_happens(
    fault: Exception,
    status: int,
    demo_client: FlaskClient,
    forms: list[Form],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No field is at fault, so the view has nothing to draw again: the page of the fault gives everything back."""

    @contextmanager
    def refuse(_store: Store) -> Iterator[Session]:
        raise fault
        yield

    monkeypatch.setattr(Store, "transaction", refuse)
    met, lost = 0, []
    for form in forms:
        answer = send(demo_client, form, WORDS)
        if answer.status_code != status or not form.typed:
            continue
        met += 1
        # Where a view draws its own form again, a choice among given words cannot hold these.
        wanted = len(form.typed) if "What you typed" in answer.text else 1
        if answer.text.count(WORDS) < wanted:
            lost.append(f"{form.action}: {answer.text.count(WORDS)} of {len(form.typed)}")
    assert met >= 8
    assert lost == []


def test_a_form_that_came_back_is_sent_again_and_taken_once(
    client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    @contextmanager
    def busy(_store: Store) -> Iterator[Session]:
        raise Unusable("the database is busy; try again in a moment")
        yield

    scale = {"name": "Bench <scale>", "readability": "0.1 g", "capacity": "2 kg", "key": "once"}
    with monkeypatch.context() as patch:
        patch.setattr(Store, "transaction", busy)
        refused = client.post("/workshop/scales", data=scale, headers={"Referer": "http://localhost/workshop/scales"})
    assert refused.status_code == 503
    assert "POST /workshop/scales was not done: the database is busy" in caplog.text
    assert "Bench" not in caplog.text
    assert 'href="/workshop/scales"' in refused.text
    again = form_of(refused.text, "/workshop/scales")
    assert dict(again.held) == scale
    assert client.post(again.action, data=dict(again.held)).status_code == 303
    with store.reading() as session:
        assert session.scalars(select(ScaleRow.name)).all() == ["Bench <scale>"]


def test_a_reading_that_came_after_the_release_is_given_back(demo_client: FlaskClient) -> None:
    answer = demo_client.post("/batches/1/reading", data={"kind": "look", "words": "mould seen", "who": "Tom"})
    assert answer.status_code == 409
    assert "mould seen" in answer.text


def test_a_database_that_is_away_is_a_sentence_on_every_page(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    @contextmanager
    def away(_store: Store) -> Iterator[Session]:
        raise Unusable("the database server does not answer")
        yield

    monkeypatch.setattr(Store, "reading", away)
    client = create_app(demo, secret=b"a key for tests").test_client()
    for path in SHOWN:
        answer = client.get(path)
        assert answer.status_code == 503, path
        assert "The database server does not answer." in answer.text


def test_a_search_for_a_character_no_text_can_hold_finds_nothing_and_breaks_nothing(demo_client: FlaskClient) -> None:
    for path in ("/formulas?q=%00", "/batches?q=a%00b", "/materials?q=%00"):
        assert demo_client.get(path).status_code == 200


@pytest.mark.postgresql
def test_a_character_no_text_can_hold_is_refused_and_the_rest_given_back(server: Any) -> None:
    with server.copy(demo=True) as url:
        store = Store(url)
        with closing(store):
            client = create_app(store, secret=b"a key for tests").test_client()
            answer = client.post("/batches/4/note", data={"note": "mould\x00 seen", "who": "Tom"})
            assert answer.status_code in {303, 422}
            for path in ("/formulas?q=%00", "/batches?q=a%00b", "/materials?q=%00"):
                assert client.get(path).status_code == 200
            with pytest.raises(Invalid, match="no text can hold"), store.transaction() as session:
                session.add(ScaleRow(name="a\x00b", readability_g=Decimal(1), capacity_g=Decimal(2)))
