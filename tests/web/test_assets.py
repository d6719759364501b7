"""What a browser keeps and what travels compressed: static files by their digest, text to another machine."""

import gzip
import re
from pathlib import Path

from flask.testing import FlaskClient

from app.web.assets import digest_of

STATIC = re.compile(r'/static/[^"]+')
ELSEWHERE = {"REMOTE_ADDR": "192.0.2.7"}


def test_every_static_file_of_a_page_is_kept_for_a_year(demo_client: FlaskClient) -> None:
    addresses = STATIC.findall(demo_client.get("/formulas/1").text)
    assert len(addresses) > 8
    for address in addresses:
        answer = demo_client.get(address)
        answer.close()
        assert answer.status_code == 200, address
        assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"


def test_a_file_asked_for_under_an_old_digest_is_there_but_not_kept(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/static/0123456789ab/css/ink.css")
    assert "color-scheme" in answer.text
    answer.close()
    assert answer.headers["Cache-Control"] == "no-cache, max-age=0"
    assert demo_client.get("/static/0123456789ab/../../pyproject.toml").status_code == 404


def test_the_digest_follows_content_and_names(tmp_path: Path) -> None:
    (tmp_path / "a.css").write_text("a { }")
    first = digest_of(tmp_path)
    assert digest_of(tmp_path) == first
    (tmp_path / "a.css").write_text("b { }")
    second = digest_of(tmp_path)
    (tmp_path / "a.css").rename(tmp_path / "b.css")
    assert len({first, second, digest_of(tmp_path)}) == 3


def test_text_travels_compressed_to_another_machine_only(demo_client: FlaskClient) -> None:
    plain = demo_client.get("/formulas", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in plain.headers
    far = demo_client.get("/formulas", headers={"Accept-Encoding": "gzip"}, environ_overrides=ELSEWHERE)
    assert far.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in far.headers["Vary"]
    assert len(far.data) < len(plain.data) / 2
    assert b"Oat and shea hand cream" in gzip.decompress(far.data)
    other = demo_client.get("/formulas", environ_overrides=ELSEWHERE)
    assert "Content-Encoding" not in other.headers


def test_faces_and_pictures_are_not_compressed_again(demo_client: FlaskClient) -> None:
    page = demo_client.get("/").text
    face = next(address for address in STATIC.findall(page) if address.endswith("woff2"))
    answer = demo_client.get(face, headers={"Accept-Encoding": "gzip"}, environ_overrides=ELSEWHERE)
    answer.close()
    assert "Content-Encoding" not in answer.headers
