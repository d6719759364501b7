"""The list of materials, searched over HTTP with 5,000 materials on the shelf: under 50 ms on the server."""

import pytest
from flask.testing import FlaskClient
from pytest_benchmark.fixture import BenchmarkFixture

from app.reference.materials import library_materials
from app.store.engine import Store
from app.work.materials.material_form import from_library
from app.work.materials.shelf import insert_material

SIZE = 5000


@pytest.fixture
def full_shelf(store: Store) -> None:
    values = [from_library(one).checked() for one in library_materials()]
    with store.transaction() as session:
        for n in range(SIZE):
            one = values[n % len(values)]
            insert_material(session, one.but(name=f"{one.name} {n}", library_key=None))


@pytest.mark.usefixtures("full_shelf")
@pytest.mark.parametrize("text", ["", "e", "gly", "glicerin", "preservative", "emulsifyer wax", "7732-18"])
def test_a_search_as_it_is_typed(benchmark: BenchmarkFixture, client: FlaskClient, text: str) -> None:
    client.get("/materials/results?q=first")
    answer = benchmark(client.get, "/materials/results", query_string={"q": text})
    assert answer.status_code == 200
    assert benchmark.stats.stats.median < 0.050
