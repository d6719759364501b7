"""The pages of packing: a run is begun, written, corrected, decided on and closed; its units and samples are found."""

import io
import re
from datetime import date
from html import unescape

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader
from sqlalchemy import select, update
from werkzeug.test import TestResponse

from app.store.engine import Store
from app.store.packing import FillWeight, PackingRun, RetainedSample
from app.store.products import Product
from app.store.stock import Lot
from app.work.stock.ledger import check_ledger
from tests.web.test_stock import text_of, value_of


def run_id(store: Store, number: str) -> int:
    with store.reading() as session:
        return session.scalars(select(PackingRun.id).where(PackingRun.number == number)).one()


@pytest.fixture
def run(demo: Store) -> str:
    """The open run of the demonstration."""
    return f"/packing/{run_id(demo, 'HG-2026-001-P1')}"


def said(answer: TestResponse) -> list[str]:
    return [unescape(words) for words in re.findall(r'<p class="fault"[^>]*>(.*?)</p>', answer.text)]


def version(client: FlaskClient, run: str) -> str:
    return value_of(client.get(run), "row_version")


def test_a_run_is_written_decided_on_and_closed_and_its_units_are_on_hand(
    demo_client: FlaskClient, demo: Store, run: str
) -> None:
    client = demo_client
    figures = {"units_filled": "5", "units_spoilt": "", "bulk": "599 g", "rest": "40", "waste": "20", "who": "Ines"}
    sent = client.post(f"{run}/figures", data={**figures, "row_version": version(client, run)})
    assert sent.location == f"{run}#figures"
    page = text_of(client.get(run))
    assert re.search(r"94\.9 % of the bulk is accounted for", page)
    use = re.search(rf'href="({run}/lots/\d+)#lots"', page)
    assert use
    assert value_of(client.get(use[1]), "used") == "6"
    lot = {"code": "PUMP-100-0914", "issued": "6", "used": "5", "spoilt": "0", "returned": "1", "who": "Ines"}
    client.post(f"{run}/lots", data={**lot, "key": "a"})
    with demo.reading() as session:
        assert session.scalars(select(Lot.on_hand).where(Lot.code == "PUMP-100-0914")).one() == 45
    points = re.findall(r'name="tick" value="(\d+)"', page)
    client.post(f"{run}/ticks", data={"part": "after", "tick": points, "who": "Tom"})
    refused = client.post(f"{run}/close", data={"row_version": version(client, run), "who": "Tom", "key": "c"})
    assert refused.status_code == 422
    assert "% of the bulk is accounted for" in said(refused)[0]
    page = client.get(run).text
    keys = [unescape(key) for key in re.findall(r'name="key" value="((?:no lot|bulk)[^"]*)"', page)]
    assert len(keys) == 2
    decided = {"cause": "printed by hand", "effect": "none", "action": "noted", "who": "Tom", "do": "decide"}
    for place, key in enumerate(keys):
        sent = client.post(f"{run}/deviation", data={**decided, "key": key, "form_key": f"d{place}"})
        assert sent.status_code == 303
    client.post(f"{run}/close", data={"row_version": version(client, run), "who": "Tom", "key": "c2"})
    assert "closed" in text_of(client.get(run))
    rows = client.get("/packing/finished.csv").text.splitlines()
    assert rows[0].endswith("product,batch,packed,moved,on hand,best before,last packed")
    assert any(row.startswith("Workbench hand gel,HG-2026-001,5,0,5,,2026-09-22") for row in rows)
    assert not check_ledger(demo)[1]


def test_what_was_typed_stays_beside_what_is_wrong_with_it(demo_client: FlaskClient, run: str) -> None:
    client = demo_client
    wrong = client.post(f"{run}/lots", data={"code": "NO-SUCH", "issued": "4", "who": "Ines", "key": "a"})
    assert wrong.status_code == 422
    assert said(wrong) == ["There is no lot of that code."]
    assert [value_of(wrong, name) for name in ("code", "issued")] == ["NO-SUCH", "4"]
    more = client.post(f"{run}/lots", data={"code": "JAR-60-0914", "issued": "4", "who": "Ines", "key": "b"})
    assert "which is no packaging of Workbench hand gel" in said(more)[0]
    fills = client.post(f"{run}/weights", data={"weights": "101.2 heavy", "who": "Ines", "key": "c"})
    assert "101.2 heavy" in text_of(fills)
    assert fills.status_code == 422
    nobody = client.post(f"{run}/samples", data={"units": "1", "place": "", "keep_until": "", "who": "Zed", "key": "d"})
    assert nobody.status_code == 422
    assert len(said(nobody)) == 3
    late = client.post(f"{run}/figures", data={"units_filled": "5", "who": "Ines", "row_version": "1"})
    assert (late.status_code, value_of(late, "units_filled")) == (409, "5")


def test_a_fill_weight_is_corrected_by_a_row_of_its_own(demo_client: FlaskClient, demo: Store, run: str) -> None:
    with demo.reading() as session:
        of_run = select(FillWeight.id).join(PackingRun).where(PackingRun.number == "HG-2026-001-P1")
        first = session.scalars(of_run).first()
    path = f"{run}/weights/{first}"
    assert demo_client.post(path, data={"grams": "", "reason": "", "who": "Ines", "key": "a"}).status_code == 422
    demo_client.post(path, data={"grams": "100.9", "reason": "misread", "who": "Ines", "key": "b"})
    assert demo_client.get(path).status_code == 404
    assert "101.4 g became 100.9 g" in text_of(demo_client.get(run))


def test_a_sample_is_looked_at_and_thrown_away_and_a_count_moves_units(demo_client: FlaskClient, demo: Store) -> None:
    with demo.reading() as session:
        sample, product, batch = session.execute(
            select(RetainedSample.id, PackingRun.product_id, PackingRun.batch_id).join(PackingRun)
        ).one()
    path = f"/packing/samples/{sample}"
    look = {"seen": "a little darker", "units_used": "1", "looked_on": "", "who": "Tom"}
    demo_client.post(f"{path}/look", data={**look, "key": "a"})
    assert "2 units, 1 left" in text_of(demo_client.get(path))
    assert demo_client.post(f"{path}/look", data={**look, "units_used": "2", "key": "b"}).status_code == 422
    demo_client.post(f"{path}/discard", data={"who": "Tom"})
    assert "No sample is kept" in text_of(demo_client.get("/packing/samples"))
    units = f"/packing/finished/{product}/{batch}"
    demo_client.post(units, data={"kind": "counted", "units": "14", "why": "two broken", "who": "Tom", "key": "c"})
    assert "14 units" in text_of(demo_client.get(units))
    over = demo_client.post(units, data={"kind": "discarded", "units": "15", "why": "x", "who": "Tom", "key": "d"})
    assert said(over) == ["Only 14 are on hand; count them if there are more."]


def test_the_first_page_says_what_of_packing_wants_attention(demo_client: FlaskClient, demo: Store) -> None:
    with demo.transaction() as session:
        session.execute(update(RetainedSample).values(keep_until=date(2026, 10, 7)))
    page = text_of(demo_client.get("/"))
    assert "1 packing run is open." in page
    assert "1 sample can be discarded." in page


def test_a_batch_offers_its_packing_and_labels_in_the_number_of_the_run(demo_client: FlaskClient, demo: Store) -> None:
    closed = run_id(demo, "HC-2026-001-P1")
    with demo.reading() as session:
        found = session.get_one(PackingRun, closed)
        batch, product = found.batch_id, found.product_id
        assert session.get_one(Product, product).name in text_of(demo_client.get(f"/batches/{batch}"))
    assert f"batch={batch}&count=19" in unescape(demo_client.get(f"/packing/{closed}").text)
    assert demo_client.get(f"/packing/{closed}/record").status_code == 200


def test_packaging_has_prices_that_are_added_changed_and_removed(demo_client: FlaskClient, demo: Store) -> None:
    path = "/stock/packaging/2"
    price = {"amount": "40", "currency": "USD", "quantity": "100", "priced_on": "2026-10-01", "kind": "offered"}
    assert demo_client.post(f"{path}/prices", data={**price, "key": "a"}).status_code == 303
    page = text_of(demo_client.get(path))
    assert "100 pieces" in page
    assert "$40.00" in page
    wrong = demo_client.post(f"{path}/prices", data={**price, "amount": "x", "quantity": "1 kg", "key": "b"})
    assert (wrong.status_code, value_of(wrong, "quantity")) == (422, "1 kg")
    found = re.findall(rf'href="({path}/prices/\d+)"', demo_client.get(path).text)
    (own,) = [one for one in found if value_of(demo_client.get(one), "currency") == "USD"]
    seen = value_of(demo_client.get(own), "seen")
    assert demo_client.post(own, data={**price, "amount": "44", "seen": seen}).status_code == 303
    assert demo_client.post(own, data={**price, "amount": "45", "seen": seen}).status_code == 409
    assert "$44.00" in text_of(demo_client.get(path))
    demo_client.post(f"{own}/remove")
    assert "$44.00" not in text_of(demo_client.get(path))


def test_what_a_batch_cost_stands_on_its_page_and_on_paper(demo_client: FlaskClient, demo: Store) -> None:
    with demo.reading() as session:
        batch_id = session.get_one(PackingRun, run_id(demo, "HC-2026-001-P1")).batch_id
    for path in (f"/batches/{batch_id}", f"/packing/costs/{batch_id}"):
        page = text_of(demo_client.get(path))
        assert "Unit as made, HC-2026-001-P1" in page
        assert "at least €88.25" in page
    planned = demo_client.get("/packing/costs/5")
    assert planned.status_code == 404


def test_a_product_of_which_too_few_are_on_hand_is_said_to_be_low(demo_client: FlaskClient, demo: Store) -> None:
    with demo.transaction() as session:
        session.get_one(Product, session.get_one(PackingRun, 1).product_id).reorder = 17
    assert "1 product is low." in text_of(demo_client.get("/"))
    assert re.findall(r"\d+ on hand, keep \d+", text_of(demo_client.get("/packing/finished"))) == ["4 on hand, keep 17"]


@pytest.mark.paper
def test_the_packing_record_has_its_batch_on_every_page(demo_client: FlaskClient, demo: Store) -> None:
    path = f"/packing/{run_id(demo, 'HC-2026-001-P1')}/record.pdf?paper=Letter"
    answer = demo_client.get(path)
    pages = PdfReader(io.BytesIO(answer.data)).pages
    words = [" ".join(page.extract_text().split()) for page in pages]
    assert [(float(page.mediabox.width), float(page.mediabox.height)) for page in pages] == [(612, 792)] * len(pages)
    assert all("Batch HC-2026-001, packing run HC-2026-001-P1" in text for text in words)
    whole = " ".join(words)
    for wanted in (
        "JAR-60-0914",
        "Quay Containers QC-5512",
        "Mean 60.54",
        "99.6 %",
        "Sample shelf, box 3",
        "Closed by Tom",
    ):
        assert wanted in whole
    assert answer.headers["Content-Disposition"] == 'inline; filename="packing-record_HC-2026-001-P1.pdf"'


def test_time_worked_is_noted_on_the_page_of_the_cost_and_cancelled_with_a_reason(demo_client: FlaskClient) -> None:
    slip = demo_client.post("/packing/costs/2/time", data={"minutes": "soon", "who": "Ines", "note": "stirring"})
    assert (slip.status_code, "stirring" in slip.text, 'id="minutes-fault"' in slip.text) == (422, True, True)
    answer = demo_client.post("/packing/costs/2/time", data={"minutes": "1:30", "who": "IN", "run": "1", "key": "t"})
    assert answer.status_code == 303
    page = text_of(demo_client.get("/packing/costs/2"))
    assert "90 min, at the rate of the version; 110 min were planned" in page
    wrong = re.search(r'href="(/packing/time/\d+)"', page)[1]
    assert demo_client.post(wrong, data={"why": "", "who": "Tom"}).status_code == 422
    assert demo_client.post(wrong, data={"why": "misread", "who": "Tom"}).status_code == 303
    page = text_of(demo_client.get("/packing/costs/2"))
    assert "cancelled by Tom: misread" in page
    assert "Labour is as planned (110 min)" in page
