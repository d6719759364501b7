"""Who may ask, what every answer carries, and how a fault ends."""

import logging

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import Store
from app.web import create_app

PAGES = ["/", "/formulas", "/formulas/1", "/materials", "/batches", "/workshop", "/rules", "/help", "/library"]
FOREIGN = ["evil.example", "127.0.0.1.evil.example", "192.168.1.5", "localhost.evil.example", "[::2]", "127.0.0.2"]


@pytest.mark.parametrize("host", FOREIGN)
@pytest.mark.parametrize("path", ["/", "/static/any/css/ink.css", "/formulas/1"])
def test_a_foreign_host_gets_nothing(demo_client: FlaskClient, host: str, path: str) -> None:
    answer = demo_client.get(path, base_url=f"http://{host}")
    assert answer.status_code == 400
    assert "Millrace" not in answer.text


@pytest.mark.parametrize("base", ["http://127.0.0.1:8520", "http://localhost:9000"])
def test_our_own_address_is_answered(demo_client: FlaskClient, base: str) -> None:
    assert demo_client.get("/", base_url=base).status_code == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://localhost:1234"}, 403),
        ({"Origin": "http://localhost"}, 303),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}, 303),
        ({}, 303),
    ],
    ids=str,
)
def test_a_form_from_another_site_changes_nothing(
    demo_client: FlaskClient, headers: dict[str, str], status: int
) -> None:
    before = demo_client.get("/formulas").text.count("<tr>")
    answer = demo_client.post("/formulas", data={"name": "Planted"}, headers=headers)
    assert answer.status_code == status
    after = demo_client.get("/formulas").text.count("<tr>")
    assert (after > before) == (status == 303)


@pytest.mark.parametrize("path", [*PAGES, "/nothing", "/batches/999", "/static/any/css/ink.css"])
def test_every_answer_carries_the_protective_headers(demo_client: FlaskClient, path: str) -> None:
    answer = demo_client.get(path)
    answer.close()
    headers = answer.headers
    policy = headers["Content-Security-Policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert path.startswith("/static") or headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", PAGES)
def test_no_page_holds_inline_script_style_or_an_address_elsewhere(demo_client: FlaskClient, path: str) -> None:
    page = demo_client.get(path).text
    assert "<script>" not in page
    assert " style=" not in page
    assert " onclick=" not in page
    assert 'src="http' not in page
    assert 'link rel="stylesheet" href="http' not in page


@pytest.mark.parametrize("path", ["/nothing", "/formulas/999", "/batches/999", "/materials/999", "/batches/abc"])
def test_what_is_not_there_is_said_in_plain_words_with_the_way_back(demo_client: FlaskClient, path: str) -> None:
    answer = demo_client.get(path)
    assert answer.status_code == 404
    assert 'href="/formulas"' in answer.text
    assert "Traceback" not in answer.text


def test_more_than_can_be_taken_is_refused_with_a_page(demo_client: FlaskClient) -> None:
    answer = demo_client.post("/batches/new", data={"size": "x" * (9 * 1024 * 1024)})
    assert answer.status_code == 413
    assert "Nothing was saved" in answer.text


def test_a_fault_ends_on_a_page_with_a_number_that_is_also_in_the_log(
    demo: Store, caplog: pytest.LogCaptureFixture
) -> None:
    app: Flask = create_app(demo, secret=b"k")

    @app.get("/breaks")
    def breaks() -> str:
        raise RuntimeError("the secret detail")

    with caplog.at_level(logging.ERROR):
        answer = app.test_client().get("/breaks")
    assert answer.status_code == 500
    assert "the secret detail" not in answer.text
    number = next(record for record in caplog.records if "fault" in record.getMessage()).args[0]  # type: ignore[index]
    assert str(number) in answer.text


def test_the_cookie_keeps_to_this_port_and_out_of_scripts(demo: Store) -> None:
    client = create_app(demo, secret=b"k", port=8520).test_client()
    answer = client.post("/batches/1/note", data={"note": "x", "who": "Ines"})
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("tarebook_8520=")
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie


@pytest.mark.parametrize(
    "path", ["/formulas/1", "/formulas/1/versions", "/batches/1/decide", "/materials", "/workshop"]
)
def test_reading_a_page_never_changes_anything(demo_client: FlaskClient, demo: Store, path: str) -> None:
    with demo.reading() as session:
        before = list(session.connection().connection.driver_connection.iterdump())  # type: ignore[union-attr]
    demo_client.get(path)
    with demo.reading() as session:
        assert list(session.connection().connection.driver_connection.iterdump()) == before  # type: ignore[union-attr]
