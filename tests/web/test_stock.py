"""The pages of the stock: receive, decide, count, take, buy, order, documents; what was typed stays."""

import csv
import io
import re
from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.store.engine import Store
from app.store.materials import PriceRow
from app.store.stock import Document, Lot, Purchase, StockMove
from app.work.equipment import PACKAGING, PackagingForm
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price
from app.work.materials.shelf import add_material
from app.work.stock.ledger import check_ledger

PDF = b"%PDF-1.4 a certificate"


def text_of(answer: TestResponse) -> str:
    return unescape(answer.get_data(as_text=True))


def value_of(answer: TestResponse, name: str) -> str:
    tag = re.search(rf'<input[^>]* name="{name}"[^>]*>', answer.get_data(as_text=True))
    assert tag, name
    value = re.search(r' value="([^"]*)"', tag[0])
    return unescape(value[1]) if value else ""


@pytest.fixture
def oil(store: Store) -> int:
    form = MaterialForm(
        "Sunflower oil", density="0.92", reorder="2 kg", parts=(PartForm("Helianthus Annuus Seed Oil"),)
    )
    return add_material(store, form)


DELIVERY = {
    "amount": "5 L", "supplier": "Quay Oils", "supplier_lot": "Q-77", "received_on": "2026-11-02", "paid": "12,40",
    "expires_on": "2031-11-01", "accepted": "yes", "by": "Ines", "key": "k",
}  # fmt: skip


def receive(client: FlaskClient, oil: int, **more: str) -> TestResponse:
    return client.post(f"/stock/material/{oil}", data={**DELIVERY, **more})


def test_a_delivery_is_received_once_and_shown_in_the_order_to_use(client: FlaskClient, store: Store, oil: int) -> None:
    assert [receive(client, oil).location for _ in range(2)] == ["/stock/lots/1", "/stock/lots/1"]
    receive(client, oil, key="k2", expires_on="2030-01-01")
    page = text_of(client.get(f"/stock/material/{oil}"))
    assert page.index("26-306-2") < page.index("26-306-1")
    assert "9200 g usable" in page
    lot = text_of(client.get("/stock/lots/1"))
    assert "Quay Oils" in lot
    assert "+4600" in lot
    assert "€12.40" in lot
    assert value_of(client.get(f"/stock/material/{oil}"), "by") == "Ines"


def test_a_wrong_delivery_keeps_what_was_typed(client: FlaskClient, store: Store, oil: int) -> None:
    answer = receive(client, oil, amount="five", supplier_lot="S" * 130)
    assert answer.status_code == 422
    assert 'id="amount-fault"' in text_of(answer)
    assert 'id="supplier_lot-fault"' in text_of(answer)
    assert (value_of(answer, "amount"), value_of(answer, "supplier")) == ("five", "Quay Oils")
    with store.reading() as session:
        assert session.scalars(select(Lot)).all() == []


def test_a_lot_is_refused_counted_and_taken_from_on_its_page(client: FlaskClient, store: Store, oil: int) -> None:
    receive(client, oil, accepted="")
    assert "in quarantine" in text_of(client.get("/stock/lots/1"))
    refused = client.post("/stock/lots/1/move", data={"kind": "used", "amount": "1 kg", "by": "Ines", "key": "m"})
    assert refused.status_code == 422
    assert "Enter why it is used all the same" in text_of(refused)
    assert value_of(refused, "amount") == "1 kg"
    client.post("/stock/lots/1/decision", data={"state": "accepted", "by": "Per", "why": "certificate"})
    for _ in range(2):
        client.post("/stock/lots/1/move", data={"kind": "used", "amount": "1 kg", "by": "Ines", "key": "m"})
    client.post("/stock/lots/1/count", data={"amount": "3.5 kg", "by": "Ines", "why": "spilled unseen", "key": "c"})
    page = text_of(client.get("/stock/lots/1"))
    assert "accepted by Per" in page
    assert "-100" in page
    assert "spilled unseen" in page
    assert check_ledger(store)[1] == []


def test_a_lot_is_corrected_and_a_late_correction_is_shown_beside(client: FlaskClient, oil: int) -> None:
    receive(client, oil)
    form = client.get("/stock/lots/1/edit")
    data = {"code": "26-306-1", "supplier": "Quay Oils", "supplier_lot": "Q-78", "received_on": "2026-11-02"}
    data |= {"row_version": value_of(form, "row_version"), "place": "B2"}
    assert client.post("/stock/lots/1/edit", data=data).status_code == 303
    late = client.post("/stock/lots/1/edit", data={**data, "place": "C9"})
    assert late.status_code == 409
    assert value_of(late, "place") == "C9"
    assert "B2" in text_of(late)
    assert "from nothing to B2" in text_of(client.get("/stock/lots/1"))


def test_a_stock_take_writes_differences_and_refuses_what_moved_meanwhile(
    client: FlaskClient, store: Store, oil: int
) -> None:
    receive(client, oil)
    receive(client, oil, key="k2")
    sheet = client.get("/stock/count")
    assert text_of(sheet).count("Counted of Sunflower oil") == 2
    data = {"row-0-lot": "1", "row-0-seen": "4600", "row-0-amount": "4,5 kg", "row-1-lot": "2", "row-1-seen": "4600"}
    data |= {"row-1-amount": "", "by": "Ines", "key": "t"}
    client.post("/stock/lots/1/move", data={"kind": "spilled", "amount": "10", "by": "Ines", "key": "m"})
    moved = client.post("/stock/count", data=data)
    assert moved.status_code == 422
    assert "moved since this sheet was drawn" in text_of(moved)
    assert (value_of(moved, "row-0-amount"), value_of(moved, "row-0-seen")) == ("4,5 kg", "4590")
    assert client.post("/stock/count", data={**data, "row-0-seen": "4590"}).status_code == 303
    with store.reading() as session:
        assert [lot.on_hand for lot in session.scalars(select(Lot).order_by(Lot.id))] == [4500, 4600]
        assert session.scalars(select(StockMove.why).where(StockMove.kind == "counted")).all() == ["stock-take"]


def test_what_is_short_is_listed_ordered_and_received_at_once(client: FlaskClient, store: Store, oil: int) -> None:
    add_price(store, oil, PriceForm("7,50", "750 g", "2026-01-05", "Quay Oils"))
    PACKAGING.add(store, PackagingForm("Jar", "48", "52.80", "Pot House", "100"))
    page = text_of(client.get("/stock/to-buy"))
    assert "3 × 750 g" in page
    assert "€22.50" in page
    assert "3 × 48 pieces" in page
    rows = list(csv.DictReader(io.StringIO(client.get("/stock/to-buy.csv").get_data(as_text=True).lstrip("\ufeff"))))
    assert {(r["item"], r["short"], r["packs"], r["supplier"]) for r in rows} == {
        ("Sunflower oil", "2000", "3", "Quay Oils"),
        ("Jar", "100", "3", "Pot House"),
    }
    order = client.get("/stock/orders/new", query_string={"supplier": "Quay Oils"})
    assert (value_of(order, "line-0-item"), value_of(order, "line-0-amount")) == ("Sunflower oil", "2250 g")
    data = {"supplier": "Quay Oils", "ordered_on": "2026-11-20", "made_by": "Ines", "key": "o"}
    data |= {"line-0-item": "sunflower oil", "line-0-amount": "2250 g", "line-0-price": "22.5", "line-1-item": "jar"}
    data |= {"line-1-amount": "96", "line-1-price": "105.60"}
    places = [client.post("/stock/orders/new", data=data).location for _ in range(2)]
    assert places == ["/stock/orders/1", "/stock/orders/1"]
    assert "Sunflower oil" not in text_of(client.get("/stock/to-buy")).split("<main")[1]
    show = client.get("/stock/orders/1")
    came = {"received_on": "2026-11-25", "by": "Per", "accepted": "yes", "row_version": value_of(show, "row_version")}
    came |= {"row-0-line": "1", "row-0-came": "yes", "row-0-amount": "2.2 kg", "row-0-paid": "22", "row-1-line": "2"}
    came |= {"row-0-supplier_lot": "Q-90", "row-0-expires_on": "2031-01-01", "key": "d"}
    assert client.post("/stock/orders/1/receive", data=came).status_code == 303
    with store.reading() as session:
        (lot,) = session.scalars(select(Lot)).all()
        assert (lot.on_hand, lot.supplier_lot, lot.state.value) == (2200, "Q-90", "accepted")
        of_oil = select(PriceRow).where(PriceRow.material_id == oil).order_by(PriceRow.id)
        assert [p.amount for p in session.scalars(of_oil)] == [7.5, 22]
        assert session.scalars(select(Purchase)).one().state.value == "open"
    late = client.post("/stock/orders/1/receive", data={**came, "key": "other"})
    assert late.status_code == 409
    client.post("/stock/orders/1/close")
    assert "received" in text_of(client.get("/stock/orders/1"))
    assert check_ledger(store)[1] == []


def test_a_delivery_with_a_fault_in_one_line_writes_nothing(client: FlaskClient, store: Store, oil: int) -> None:
    data = {"supplier": "Q", "made_by": "Ines", "key": "o", "line-0-item": "Sunflower oil", "line-0-amount": "1 kg"}
    wrong = client.post("/stock/orders/new", data={**data, "line-1-item": "Moon dust", "line-1-amount": "x"})
    assert wrong.status_code == 422
    assert "Moon dust is neither on the shelf nor in the packaging" in text_of(wrong)
    assert value_of(wrong, "line-1-item") == "Moon dust"
    client.post("/stock/orders/new", data={**data, "line-1-item": "Sunflower oil", "line-1-amount": "2 kg"})
    came = {"by": "Per", "row_version": "1", "row-0-line": "1", "row-0-came": "yes", "row-0-amount": "1 kg"}
    came |= {"row-1-line": "2", "row-1-came": "yes", "row-1-amount": "lots", "key": "d"}
    answer = client.post("/stock/orders/1/receive", data=came)
    assert answer.status_code == 422
    assert 'id="row-1-amount-fault"' in text_of(answer)
    with store.reading() as session:
        assert session.scalars(select(Lot)).all() == []


def certificate(client: FlaskClient, data: bytes = PDF, **more: Any) -> TestResponse:
    fields = {"kind": "certificate of analysis", "by": "Ines", "key": "f", **more}
    return client.post(
        "/stock/documents/about/lot/1",
        data={**fields, "file": (io.BytesIO(data), "../../Zertifikat <1>.pdf")},
        content_type="multipart/form-data",
    )


def test_a_document_is_held_by_its_content_and_given_back_whole(client: FlaskClient, store: Store, oil: int) -> None:
    receive(client, oil)
    assert "certificate of analysis" in text_of(client.get("/stock/documents")).casefold()
    assert [certificate(client).status_code for _ in range(2)] == [303, 303]
    assert "No document" not in text_of(client.get("/stock/documents/about/lot/1"))
    given = client.get("/stock/documents/1")
    assert given.data == PDF
    assert given.headers["Content-Disposition"].startswith("attachment")
    assert given.headers["Content-Type"] == "application/pdf"
    with store.reading() as session:
        (document,) = session.scalars(select(Document)).all()
    assert document.name == "Zertifikat <1>.pdf"
    assert store.files is not None
    file = store.files / document.sha256[:2] / document.sha256
    assert file.read_bytes() == PDF
    assert [path for path in store.files.rglob("*") if path.is_file()] == [file]
    page = text_of(client.get("/stock/documents"))
    assert "lot 26-306-1" not in page
    file.write_bytes(b"something else")
    assert client.get("/stock/documents/1").status_code == 503


def test_a_document_that_cannot_be_kept_says_so_at_its_field(client: FlaskClient, oil: int) -> None:
    receive(client, oil)
    answer = certificate(client, b"", by="", dated_on="2026-01-02", valid_until="2025-01-01")
    assert answer.status_code == 422
    for field in ("file", "by", "valid_until"):
        assert f'id="{field}-fault"' in text_of(answer)
    assert client.get("/stock/documents/about/lot/99").status_code == 404
    assert client.get("/stock/documents/about/recipe/1").status_code == 404


def test_what_a_batch_made_is_kept_as_a_lot(client: FlaskClient, gel: Any) -> None:
    data = {"amount": "480 g", "by": "Ines", "key": "b", "material": ""}
    assert client.post(f"/stock/batches/{gel.batch_id}", data=data).location == "/stock/lots/1"
    assert "Bulk of batch" in text_of(client.get("/stock/lots/1"))
    assert "480 g" in text_of(client.get(f"/stock/batches/{gel.batch_id}"))
    assert client.post(f"/stock/batches/{gel.batch_id}", data={**data, "amount": "x", "key": "c"}).status_code == 422


def test_the_first_page_says_what_the_stock_wants(client: FlaskClient, oil: int) -> None:
    receive(client, oil, amount="1 kg", accepted="")
    page = text_of(client.get("/"))
    assert "1 material or packaging is low." in page
    assert "1 lot waits in quarantine." in page
    assert "Sunflower oil" in text_of(client.get("/stock?show=low"))
    assert "Sunflower oil" not in text_of(client.get("/stock?show=due")).split("<main")[1]


HOSTILE = ["<script>alert(1)</script>", "1e400", "", "x" * 60_000, "\x00"]


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_no_hostile_text_breaks_a_page_of_the_stock(client: FlaskClient, oil: int, text: str) -> None:
    receive(client, oil)
    forms = {
        f"/stock/material/{oil}": DELIVERY,
        "/stock/lots/1/decision": {"state": "accepted", "by": "a", "why": "b"},
        "/stock/lots/1/move": {"kind": "used", "amount": "1", "by": "a", "why": "", "key": ""},
        "/stock/lots/1/count": {"amount": "1", "by": "a", "why": "", "key": ""},
        "/stock/lots/1/edit": {"code": "a", "supplier": "b", "place": "c", "notes": "", "row_version": "1"},
        "/stock/count": {"row-0-lot": "1", "row-0-seen": "1", "row-0-amount": "2", "by": "a", "why": "", "key": ""},
        "/stock/orders/new": {"supplier": "a", "made_by": "b", "line-0-item": "Sunflower oil", "line-0-amount": "1"},
        "/stock/suppliers": {"name": "a", "contact": "b", "delivery_days": "3", "address": "", "notes": "", "key": ""},
    }
    for path, good in forms.items():
        for field in good:
            answer = client.post(path, data={**good, field: text, "key": f"{path}{field}"})
            assert answer.status_code in (303, 409, 422), (path, field, answer.status_code)
            assert "<script>alert" not in answer.get_data(as_text=True)
    for path in ("/stock", "/stock/to-buy", "/stock/orders", "/stock/suppliers", "/stock/documents", "/stock/count"):
        assert "<script>alert" not in client.get(path, query_string={"q": text, "place": text}).get_data(as_text=True)


def test_the_composition_of_a_lot_is_typed_from_its_certificate(client: FlaskClient, oil: int) -> None:
    receive(client, oil)
    page = client.get("/stock/lots/1/composition")
    assert value_of(page, "part-0-inci") == "Helianthus Annuus Seed Oil"
    data = {"row_version": value_of(page, "row_version"), "part-0-inci": "Helianthus Annuus Seed Oil", "by": "Per"}
    wrong = client.post("/stock/lots/1/composition", data={**data, "part-0-percent": "x"})
    assert (wrong.status_code, value_of(wrong, "part-0-percent")) == (422, "x")
    assert client.post("/stock/lots/1/composition", data={**data, "part-0-percent": "99.2"}).status_code == 303
    assert "of its own" in text_of(client.get("/stock/lots/1"))
    assert client.post("/stock/lots/1/composition", data={**data, "part-0-percent": "98"}).status_code == 409


def test_everything_wrong_with_a_stock_take_is_told_at_once(client: FlaskClient, oil: int) -> None:
    receive(client, oil)
    data = {"row-0-lot": "1", "row-0-seen": "4600", "row-0-amount": "much", "row-1-lot": "99", "row-1-amount": "1"}
    answer = client.post("/stock/count", data={**data, "by": "", "key": "t"})
    assert answer.status_code == 422
    for words in ("Enter your name or initials.", "There is no such lot.", "much"):
        assert words in text_of(answer)


def test_a_supplier_is_retired_and_brought_back_and_no_longer_offered_meanwhile(client: FlaskClient, oil: int) -> None:
    receive(client, oil)
    offered = '<option value="Quay Oils">'
    assert offered in client.get("/stock/orders/new").text
    assert client.post("/stock/suppliers/1/retire").status_code == 303
    assert 'Quay Oils <span class="state">retired</span>' in client.get("/stock/suppliers").text
    assert offered not in client.get("/stock/orders/new").text
    client.post("/stock/suppliers/1/bring-back")
    assert offered in client.get("/stock/orders/new").text
    assert client.post("/stock/suppliers/99/retire").status_code == 404
