"""Daily pages, both directions of a trace and a mock recall in a workshop of 50,000 batches, against a hundredth of it.

The hundredth has as many materials and formulas as fill a page of a list, so that the ratio says what grows with the
data and not how many rows are drawn. Time is that of the processor, which other programs do not lengthen. Both
workshops are made once, in some two minutes: ``python3 -m app test tests/benchmarks/test_large_workshop.py -n 0 -s``
shows the figures.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select

from app.store.batches import Batch
from app.store.distribution import Receiver
from app.store.engine import Store, sqlite_url
from app.store.formulas import FormulaRow
from app.store.materials import MaterialRow
from app.store.migrate import to_revision
from app.store.stock import Lot
from app.web import create_app
from app.work.demo import load_demo
from app.work.large_workshop import multiply, size_of
from app.work.tracing.recalls import RecallForm, open_recall, recall_sheet

ROUNDS = 20
MOST_MS, MOST_TIMES, MOST_RECALL_S = 100, 1.5, 1.0
# Below this many milliseconds the ratio says nothing but how the clock was read.
FLOOR_MS = 8
FULL_PAGE = 120
PAGES: dict[str, Callable[[dict[str, int], int], str]] = {
    "start": lambda _most, _n: "/",
    "batches": lambda _most, _n: "/batches",
    "new batch": lambda _most, _n: "/batches/new",
    "batch": lambda most, n: f"/batches/{most['batch'] - 40 - 7 * n}",
    "stock": lambda _most, _n: "/stock",
    "lots": lambda most, n: f"/stock/material/{most['material'] - n}",
    "lot": lambda most, n: f"/stock/lots/{most['lot'] - 450 - n}",
    "low": lambda _most, _n: "/stock?show=low",
    "to buy": lambda _most, _n: "/stock/to-buy",
    "new order": lambda _most, _n: "/stock/orders/new",
    "materials": lambda _most, _n: "/materials",
    "products": lambda _most, _n: "/products",
    "price list": lambda _most, _n: "/products/price-list",
    "formulas": lambda _most, _n: "/formulas",
    "formula": lambda most, n: f"/formulas/{most['formula'] - n % 8}",
    "packing runs": lambda _most, _n: "/packing",
    "finished": lambda _most, _n: "/packing/finished",
    "samples": lambda _most, _n: "/packing/samples",
    "documents": lambda _most, _n: "/stock/documents",
    "to count": lambda _most, _n: "/stock/count",
    "orders": lambda _most, _n: "/stock/orders",
    "recalls": lambda _most, _n: "/trace/recalls",
    "receivers": lambda _most, _n: "/trace/receivers",
    "sent out": lambda _most, _n: "/trace/sent",
    "cases": lambda _most, _n: "/trace/cases",
    "onward": lambda most, n: f"/trace/lot/{most['lot'] - 450 - n}",
    "back": lambda most, n: f"/trace/batch/{most['batch'] - 40 - 7 * n}",
    "receiver": lambda most, n: f"/trace/receiver/{most['receiver'] - n}",
}


@pytest.fixture(scope="module")
def workshops(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[float, Store]]:
    made = {}
    for factor in (0.01, 1.0):
        url = sqlite_url(Path(tmp_path_factory.mktemp("large")) / "tarebook.db")
        to_revision(url)
        made[factor] = Store(url)
        load_demo(made[factor])
        size = size_of(factor)
        full = replace(size, materials=max(size.materials, FULL_PAGE), formulas=max(size.formulas, FULL_PAGE))
        multiply(made[factor], full)
    yield made
    for store in made.values():
        store.close()


def largest_ids(store: Store) -> dict[str, int]:
    models = {"batch": Batch, "lot": Lot, "material": MaterialRow, "formula": FormulaRow, "receiver": Receiver}
    with store.reading() as session:
        return {name: session.scalar(select(func.max(model.id))) or 0 for name, model in models.items()}


def times_ms(client: FlaskClient, path_of: Callable[[int], str]) -> tuple[float, float]:
    """Return the median and the 95th of a hundred of what a page takes, milliseconds."""
    spent = []
    for n in range(ROUNDS + 1):
        start = time.thread_time()
        assert client.get(path_of(n)).status_code == 200
        spent.append((time.thread_time() - start) * 1000)
    spent = sorted(spent[1:])
    return statistics.median(spent), spent[int(ROUNDS * 0.95) - 1]


@pytest.mark.parametrize("page", PAGES)
def test_a_page_takes_no_longer_where_there_is_a_hundred_times_as_much(
    workshops: dict[float, Store], page: str
) -> None:
    found = {}
    for factor, store in workshops.items():
        most = largest_ids(store)
        client = create_app(store, secret=b"a key for tests").test_client()
        found[factor] = times_ms(client, lambda n, most=most: PAGES[page](most, n))
    (small, small_p95), (median, p95) = found[0.01], found[1.0]
    print(f"\n{page}: median {median:.0f} ms, p95 {p95:.0f} ms; of a hundredth {small:.0f} and {small_p95:.0f} ms")
    assert p95 < MOST_MS
    assert median <= MOST_TIMES * max(small, FLOOR_MS)


def test_a_mock_recall_lists_every_receiver_within_a_second(workshops: dict[float, Store]) -> None:
    store = workshops[1.0]
    # A lot of packaging goes into more batches than any other.
    code = "P-200"
    start = time.thread_time()
    recall_id = open_recall(store, RecallForm(is_mock="yes", reason="Exercise", codes=code, by="Ines"))
    with store.reading() as session:
        sheet = recall_sheet(session, recall_id)
    spent = time.thread_time() - start
    print(
        f"\nmock recall of {code}: {len(sheet.batches)} batches, {sheet.figures.receivers} receivers in {spent:.2f} s"
    )
    assert len(sheet.batches) > 100
    assert spent < MOST_RECALL_S
