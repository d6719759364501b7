"""The page of formulas to and from a file."""

import io
import json
import re

import pytest
from flask.testing import FlaskClient


def test_a_file_goes_out_is_shown_taken_and_taken_back(demo_client: FlaskClient) -> None:
    whole = json.loads(demo_client.get("/formulas/file/formulas.json").data)
    whole["formulas"][0]["notes"] = "from elsewhere"
    sent = {"file": (io.BytesIO(json.dumps(whole).encode()), "theirs.json")}
    shown = demo_client.post("/formulas/file", data=sent, content_type="multipart/form-data")
    assert shown.status_code == 200
    assert "added as" in shown.text
    data = re.search(r'name="data" value="([^"]+)"', shown.text)
    assert data
    form = {"data": data[1], "file_name": "theirs.json", "key": "k", "who": "Ines"}
    assert demo_client.post("/formulas/file/take", data=form).status_code == 303
    page = demo_client.get("/formulas/file").text
    assert "theirs.json, 1 formula, 0 new materials" in page
    assert demo_client.post("/formulas/file/1/undo").status_code == 303
    assert "The import is undone" in demo_client.get("/formulas/file").text


@pytest.mark.parametrize("content", [b"", b"nonsense", b"PK\x03\x04"])
def test_a_file_that_cannot_be_read_is_told(demo_client: FlaskClient, content: bytes) -> None:
    sent = {"file": (io.BytesIO(content), "x.json")}
    answer = demo_client.post("/formulas/file", data=sent, content_type="multipart/form-data")
    assert answer.status_code == 422
    assert "Nothing was imported" in answer.text


def test_a_kind_of_file_that_is_not_there_is_not_found(demo_client: FlaskClient) -> None:
    assert demo_client.get("/formulas/file/formulas.exe").status_code == 404


def test_a_spreadsheet_of_ones_own_is_shown_with_questions_and_taken(demo_client: FlaskClient) -> None:
    rows = "Ingredient,%\nWater,90\nGlycerin,5-10\nShea butter,5\n"
    sent = {"file": (io.BytesIO(rows.encode()), "own.csv")}
    shown = demo_client.post("/formulas/file", data=sent, content_type="multipart/form-data")
    assert shown.status_code == 200
    assert "1 cell is doubtful" in shown.text
    data = re.search(r'name="data" value="([^"]+)"', shown.text)
    asked = re.search(r'name="(answer [^"]+)" value="5-10"', shown.text)
    assert data
    assert asked
    form = {"data": data[1], "file_name": "own.csv", asked[1]: "5", "take": "", "name ": "My cream", "key": "q"}
    again = demo_client.post("/formulas/file/kept", data={**form, "again": "yes"})
    assert "Nothing in the lines is doubtful" in again.text
    taken = demo_client.post("/formulas/file/kept", data=form)
    assert taken.status_code == 303
    assert "<title>My cream" in demo_client.get(taken.location).text
    link = f'1 formula of a spreadsheet: <a href="{taken.location}">My cream</a>'
    assert link in demo_client.get("/formulas/file").text
    assert demo_client.post("/formulas/file/1/undo").status_code == 303
    assert link not in demo_client.get("/formulas/file").text


def test_everything_goes_out_as_one_archive(demo_client: FlaskClient) -> None:
    assert 'href="/formulas/file/everything.zip"' in demo_client.get("/formulas/file").text
    answer = demo_client.get("/formulas/file/everything.zip")
    assert answer.headers["Content-Type"] == "application/zip"
    assert answer.data.startswith(b"PK")


def test_lots_and_batches_are_shown_taken_marked_and_undone_unless_something_stands_on_them(
    demo_client: FlaskClient, client: FlaskClient
) -> None:
    archive = demo_client.get("/formulas/file/everything.zip").data
    sent = {"file": (io.BytesIO(archive), "theirs.zip")}
    shown = client.post("/formulas/file", data=sent, content_type="multipart/form-data").text
    assert "it is still open there" in shown
    assert re.search(r"Lots: (\d+) of \1 would be added", shown)
    assert 'href="/workshop/backups"' in shown
    data = re.search(r'name="data" value="([^"]+)"', shown)
    assert data
    form = {"data": data[1], "file_name": "theirs.zip", "key": "k", "who": "Ines", "versions": "yes", "records": "yes"}
    assert client.post("/formulas/file/take", data=form).status_code == 303
    assert re.search(
        r"theirs.zip, 9 formulas, \d+ new materials, 9 versions, \d+ lots, \d+ batches",
        client.get("/formulas/file").text,
    )
    page = client.get("/batches/1").text
    assert "Record of another workshop" in page
    counted = client.post("/stock/lots/1/count", data={"amount": "1", "by": "Ines", "why": "shelf", "key": "c"})
    assert counted.status_code == 303
    refused = client.post("/formulas/file/1/undo")
    assert refused.status_code == 409
    assert "stock was moved" in refused.text
