import csv
import io
from html import unescape

import pytest
from flask.testing import FlaskClient

from app.reference.materials import left_out, library_materials
from app.reference.provenance import from_memory

SAMPLE = library_materials()[::25]


def test_the_library_lists_every_material_by_group(client: FlaskClient) -> None:
    page = client.get("/library").get_data(as_text=True)
    assert page.count('<li><a href="/library/') == len(library_materials())


def test_the_library_is_searched(client: FlaskClient) -> None:
    page = unescape(client.get("/library?q=glicerin").get_data(as_text=True))
    assert 'href="/library/glycerin"' in page
    assert "0 found" in client.get("/library?q=zzzzzz").get_data(as_text=True)


@pytest.mark.parametrize("one", SAMPLE, ids=lambda one: one.key)
def test_every_value_says_where_it_comes_from(client: FlaskClient, one: object) -> None:
    page = unescape(client.get(f"/library/{one.key}").get_data(as_text=True))  # type: ignore[attr-defined]
    assert one.name in page  # type: ignore[attr-defined]
    assert "None" not in page
    for name, source in one.sources.items():  # type: ignore[attr-defined]
        if name not in (
            "inci",
            "cas",
            "common_name",
            "solubility",
            "charge",
            "electrolyte",
            "natural_origin_index",
            "active_matter_pct",
            "molar_mass_g_mol",
        ):
            assert source.source in page, name


def test_a_material_that_is_on_the_shelf_leads_there(client: FlaskClient) -> None:
    assert "Put on the shelf" in client.get("/library/glycerin").get_data(as_text=True)
    client.post("/materials/shelf/glycerin")
    assert 'href="/materials/1"' in client.get("/library/glycerin").get_data(as_text=True)
    assert client.get("/library/nothing-of-the-kind").status_code == 404


def test_what_rests_on_memory_is_listed_by_table_and_page(client: FlaskClient) -> None:
    page = client.get("/library/from-memory", follow_redirects=True).get_data(as_text=True)
    assert f"{len(from_memory()):,} values" in page
    blends = [value for value in from_memory() if value.table == "blends"]
    led = client.get("/library/from-memory?table=blends", follow_redirects=True)
    assert f"{len(blends):,} values" in led.get_data(as_text=True)
    assert client.get("/rules/from-memory?page=99999999999&table=nope").status_code == 200


def test_the_list_goes_out_as_a_guarded_file(client: FlaskClient) -> None:
    text = client.get("/library/from-memory.csv").get_data(as_text=True)
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    assert rows[0] == ["table", "row", "column", "value", "source"]
    assert len(rows) == len(from_memory()) + 1
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_what_was_left_out_is_listed_with_its_reason(client: FlaskClient) -> None:
    page = unescape(client.get("/library/left-out").get_data(as_text=True))
    assert all(row.name in page and row.reason in page for row in left_out())
