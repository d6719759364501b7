import re
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.store.engine import Store
from app.work import equipment
from app.work import workshop as work

GOOD = {
    "name": "Larch Street workshop", "currency": "USD", "locale": "en_US", "paper": "Letter", "jurisdiction": "US",
    "batch_number_pattern": "{code}-{count:3}", "labour_rate": "22,5",
}  # fmt: skip
HOSTILE = [
    "<script>alert(1)</script>",
    "NaN",
    "1e400",
    "-1",
    "",
    "x" * 60_000,
    "\x00",
    "1.234,5",
    "{count",
    "=1+1",
    "9" * 400,
]


def text_of(answer: TestResponse) -> str:
    return unescape(answer.get_data(as_text=True))


def value_of(answer: TestResponse, name: str) -> str:
    tag = re.search(rf'<input[^>]* name="{name}"[^>]*>', answer.get_data(as_text=True))
    assert tag, name
    value = re.search(r' value="([^"]*)"', tag[0])
    return unescape(value[1]) if value else ""


def test_settings_are_saved_and_money_follows(client: FlaskClient, store: Store) -> None:
    seen = value_of(client.get("/workshop"), "row_version")
    assert client.post("/workshop", data={**GOOD, "row_version": seen}).location == "/workshop"
    page = text_of(client.get("/workshop"))
    assert "Now: $1,234.50" in page
    assert "Labour, $ an hour" in page
    assert str(work.load_workshop(store).labour_rate) == "22.5"


def test_a_currency_without_decimals_is_written_without(client: FlaskClient) -> None:
    client.post("/workshop", data={**GOOD, "currency": "JPY", "row_version": "1"})
    assert "Now: ¥1,23" in text_of(client.get("/workshop"))
    assert ".50" not in text_of(client.get("/workshop")).split("Now: ")[1][:20]


def test_the_next_batch_number_is_shown_as_an_example(client: FlaskClient) -> None:
    told = client.get("/workshop/number-example", query_string={"pattern": "B{count:4}"}).json
    assert told == {"words": "The first batch of a formula HC1 planned today would be B0001."}
    refused = client.get("/workshop/number-example", query_string={"pattern": "{week}"}).json
    assert refused is not None
    assert "{week} is not known" in refused["words"]


def test_a_wrong_setting_is_told_at_its_field(client: FlaskClient) -> None:
    answer = client.post(
        "/workshop", data={**GOOD, "tax_percent": "101", "batch_number_pattern": "{code}", "row_version": "1"}
    )
    page = text_of(answer)
    assert answer.status_code == 422
    assert "<title>Error: Settings" in page
    assert 'id="tax_percent-fault"' in page
    assert 'href="#batch_number_pattern"' in page
    assert value_of(answer, "tax_percent") == "101"


def test_stale_settings_are_told_with_both_texts(client: FlaskClient) -> None:
    assert client.post("/workshop", data={**GOOD, "name": "Theirs", "row_version": "1"}).status_code == 303
    answer = client.post("/workshop", data={**GOOD, "name": "Mine", "row_version": "1"})
    assert answer.status_code == 409
    assert "Theirs" in text_of(answer)
    assert value_of(answer, "name") == "Mine"
    assert (
        client.post(
            "/workshop", data={**GOOD, "name": "Mine", "row_version": value_of(answer, "row_version")}
        ).status_code
        == 303
    )


def test_scales_are_noted_edited_and_removed(client: FlaskClient, store: Store) -> None:
    data = {"name": "Bench", "readability": "0,1", "capacity": "2 kg", "key": "k"}
    assert [client.post("/workshop/scales", data=data).status_code for _ in range(2)] == [303, 303]
    assert len(equipment.SCALES.list(store)) == 1
    seen = value_of(client.get("/workshop/scales/1"), "seen")
    assert client.post("/workshop/scales/1", data={**data, "capacity": "3 kg", "seen": seen}).status_code == 303
    stale = client.post("/workshop/scales/1", data={**data, "capacity": "4 kg", "seen": seen})
    assert (stale.status_code, value_of(stale, "capacity")) == (409, "4 kg")
    wrong = client.post("/workshop/scales/1", data={**data, "capacity": "x", "seen": seen})
    assert (wrong.status_code, value_of(wrong, "seen")) == (422, seen)
    assert client.post("/workshop/scales/1/remove").status_code == 303
    assert client.get("/workshop/scales/1").status_code == 404


def test_packaging_is_noted_edited_and_retired(client: FlaskClient, store: Store) -> None:
    data = {"name": "Jar", "units_per_pack": "48", "price": "52,80", "key": "k"}
    assert client.post("/workshop/packaging", data=data).status_code == 303
    assert "€1.10" in text_of(client.get("/workshop/packaging"))
    seen = value_of(client.get("/workshop/packaging/1"), "seen")
    changed = {**data, "price": "52,80", "notes": "clear glass", "seen": seen}
    assert client.post("/workshop/packaging/1", data=changed).status_code == 303
    assert len(equipment.PACKAGING.load(store, 1).prices) == 1
    assert client.post("/workshop/packaging/1", data={**data, "seen": seen}).status_code == 409
    client.post("/workshop/packaging/1/retire")
    assert equipment.PACKAGING.load(store, 1).retired_at is not None
    client.post("/workshop/packaging/1/bring-back")
    assert equipment.PACKAGING.load(store, 1).retired_at is None
    assert client.post("/workshop/packaging/1/explode").status_code == 404


def test_a_backup_is_made_listed_and_given(client: FlaskClient) -> None:
    assert client.post("/workshop/backups").status_code == 303
    page = text_of(client.get("/workshop/backups"))
    name = re.search(r"tarebook-[0-9-]+-by-hand\.db", page)
    assert name
    assert "python3 -m app restore" in page
    given = client.get(f"/workshop/backups/{name[0]}")
    assert given.data.startswith(b"SQLite format 3\x00")
    assert given.headers["Content-Disposition"].startswith("attachment")
    given.close()
    assert client.get("/workshop/backups/tarebook.db").status_code == 404


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_no_hostile_text_breaks_a_page_of_the_workshop(client: FlaskClient, text: str) -> None:
    forms = {
        "/workshop": {
            **GOOD,
            "row_version": "1",
            "address": "",
            "contact": "",
            "overhead_percent": "",
            "loss_percent": "",
        },
        "/workshop/scales": {"name": "a", "readability": "1", "capacity": "2", "key": ""},
        "/workshop/packaging": {
            "name": "a",
            "units_per_pack": "1",
            "price": "",
            "supplier": "",
            "notes": "",
            "key": "",
        },
    }
    for path, good in forms.items():
        for field in good:
            answer = client.post(path, data={**good, field: text})
            assert answer.status_code in (303, 409, 422), (path, field)
            assert "<script>alert" not in answer.get_data(as_text=True)
        assert "<script>alert" not in client.get(path).get_data(as_text=True)
