"""The pages of tracing: a code leads to all of it, what was typed stays, files and papers, recalls and cases."""

import csv
import io
import re
from html import unescape

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.store.distribution import Dispatch, Receiver
from app.store.engine import Store
from app.store.quality import CaseFile, Recall
from app.work.batches.loading import load_batch
from app.work.stock.documents import DocumentForm, add_document
from app.work.tracing.batch_section import batch_sent
from tests.conftest import CountStatements, GelBatch
from tests.work.tracing.graph import Graph


def text_of(answer: TestResponse) -> str:
    return unescape(answer.get_data(as_text=True))


def value_of(answer: TestResponse, name: str) -> str:
    tag = re.search(rf'<input[^>]* name="{name}"[^>]*>', answer.get_data(as_text=True))
    value = re.search(r' value="([^"]*)"', tag[0]) if tag else None
    return unescape(value[1]) if value else ""


@pytest.fixture
def sold(store: Store, gel: GelBatch) -> Graph:
    """A drum, a solution of it, a cream of that one, packed as L26-07; six to a shop, one to Ada."""
    with store.transaction() as session:
        graph = Graph(session, gel.materials["acid"])
        graph.lot("DRUM", supplier_lot="Q-77")
        graph.batch("S-1")
        graph.weigh("S-1", "DRUM")
        graph.lot("SOL", made_in="S-1")
        graph.batch("CREAM")
        graph.weigh("CREAM", "SOL")
        graph.weigh("CREAM")
        graph.release()
        run = graph.pack("CREAM", 20, code="L26-07")
        graph.send("CREAM", 6, "Corner Shop", run=run)
        graph.send("CREAM", 1, "Ada", run=run)
    return graph


def test_a_code_on_a_jar_leads_to_its_lots_their_papers_and_its_receivers(
    client: FlaskClient, store: Store, sold: Graph
) -> None:
    add_document(store, DocumentForm(name="Certificate Q-77", by="Tom"), "c.pdf", b"x", {"lot_id": sold.lots["DRUM"]})
    assert 'action="/trace"' in text_of(client.get("/"))
    answer = client.get("/trace?code=l26-07")
    assert (answer.status_code, answer.location) == (303, f"/trace/batch/{sold.batches['CREAM']}")
    page = text_of(client.get(answer.location))
    for words in ("SOL", "DRUM", "Q-77", "Certificate Q-77", "Corner Shop", "Ada", "Gap:", "6 units"):
        assert words in page, words
    onward = text_of(client.get(f"/trace/lot/{sold.lots['DRUM']}"))
    assert onward.index("S-1") < onward.index("CREAM") < onward.index("Corner Shop")
    assert "DRUM" in text_of(client.get(f"/trace/receiver/{sold.receivers['Ada']}"))


def test_a_code_that_means_several_things_or_nothing_is_told(client: FlaskClient, store: Store, sold: Graph) -> None:
    with store.transaction() as session:
        Graph(session, sold.material_id).lot("SECOND", supplier_lot="Q-77")
    page = text_of(client.get("/trace?code=Q-77"))
    assert "matches 2 things" in page
    assert "SECOND" in page
    assert "Nothing has the code “Q-7”" in text_of(client.get("/trace?code=Q-7"))
    assert client.get("/trace/lot/999").status_code == 404


def test_a_trace_goes_out_as_a_table(client: FlaskClient, sold: Graph) -> None:
    answer = client.get(f"/trace/batch/{sold.batches['CREAM']}.csv")
    rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True).removeprefix("\ufeff"))))
    assert [(row["direction"], row["level"], row["code"]) for row in rows][:3] == [
        ("from", "1", "SOL"), ("from", "2", "S-1"), ("from", "3", "DRUM"),
    ]  # fmt: skip
    assert {row["code"] for row in rows if row["direction"] == "to"} == {"CREAM-P1", "Corner Shop", "Ada"}


@pytest.mark.paper
def test_a_trace_and_a_notice_are_printed(client: FlaskClient, store: Store, sold: Graph) -> None:
    trace = client.get(f"/trace/batch/{sold.batches['CREAM']}.pdf")
    assert trace.data.startswith(b"%PDF")
    client.post("/trace/recalls/new", data={"codes": "DRUM", "reason": "off", "to_do": "stop", "by": "Ines"})
    notice = client.get("/trace/recalls/1/notice.pdf")
    assert notice.data.startswith(b"%PDF")
    assert "recall-notice_R-" in notice.headers["Content-Disposition"]


SENT = {"code": "CREAM", "units": "5", "kind": "sale", "sent_on": "2026-11-20", "receiver": "Bo", "by": "Tom"}


def test_units_are_sent_once_and_a_wrong_form_keeps_what_was_typed(
    client: FlaskClient, store: Store, sold: Graph
) -> None:
    for _ in range(2):
        assert client.post("/trace/sent", data={**SENT, "key": "k"}).status_code == 303
    wrong = client.post("/trace/sent", data={**SENT, "units": "99", "order_number": "A-1"})
    assert wrong.status_code == 422
    assert "8 units are on hand" in text_of(wrong)
    assert (value_of(wrong, "order_number"), value_of(wrong, "receiver")) == ("A-1", "Bo")
    with store.reading() as session:
        line = session.scalars(select(Dispatch).order_by(Dispatch.id.desc())).first()
        assert line is not None
        assert (line.units, line.receiver.name if line.receiver else "") == (5, "Bo")
    assert client.post(f"/trace/sent/{line.id}/cancel", data={"by": "Tom"}).status_code == 422
    assert client.post(f"/trace/sent/{line.id}/cancel", data={"by": "Tom", "why": "typed twice"}).status_code == 303
    assert client.post(f"/trace/sent/{line.id}/cancel", data={"by": "Tom", "why": "again"}).status_code == 409
    assert "cancelled: typed twice" in text_of(client.get("/trace/sent?code=CREAM"))
    with store.reading() as session:
        section = batch_sent(session, load_batch(session, sold.batches["CREAM"]))
        assert section is not None
        assert [(row.packed, row.on_hand, section.count) for row in section.units] == [(20, 13, 3)]


def test_a_file_is_shown_taken_and_taken_back(client: FlaskClient, store: Store, sold: Graph) -> None:
    good = b"code,units,receiver\r\nCREAM,2,Cy\r\n"
    page = client.post("/trace/sent/file", data={"file": (io.BytesIO(good), "n.csv")})
    assert "1 line, 2 units, 1 new receiver" in text_of(page)
    data = value_of(page, "data")
    assert client.post("/trace/sent/file/take", data={"data": data, "by": "Tom", "key": "k"}).status_code == 303
    assert client.post("/trace/sent/file/1/undo").status_code == 303
    assert "undone" in text_of(client.get("/trace/sent/file"))
    bad = client.post("/trace/sent/file", data={"file": (io.BytesIO(b"code,units\r\nNIL,1\r\n"), "n.csv")})
    assert (bad.status_code, "Line 2: There is no batch" in text_of(bad)) == (422, True)
    assert client.post("/trace/sent/file/take", data={"data": "no base64"}).status_code == 422
    assert "code,product" in client.get("/trace/sent/file/example.csv").get_data(as_text=True)


def test_a_receiver_is_corrected_and_forgotten_only_when_that_is_ticked(
    client: FlaskClient, store: Store, sold: Graph
) -> None:
    path = f"/trace/receivers/{sold.receivers['Ada']}"
    assert "Ada@x.example" in text_of(client.get(path))
    stale = {"name": "Ada B.", "kind": "person", "contact": "b@x.example", "row_version": "7"}
    assert client.post(path, data=stale).status_code == 409
    assert client.post(path, data={**stale, "row_version": "1"}).status_code == 303
    assert client.post(path, data={**stale, "name": ""}).status_code == 422
    assert client.post(f"{path}/forget").status_code == 422
    assert client.post(f"{path}/forget", data={"sure": "yes"}).status_code == 303
    assert "Forgotten on request" in text_of(client.get(path))
    with store.reading() as session:
        assert session.get_one(Receiver, sold.receivers["Ada"]).name == ""
    assert "Ada" not in text_of(client.get("/trace/receivers"))


def test_a_recall_is_opened_worked_and_closed_on_its_page(client: FlaskClient, store: Store, sold: Graph) -> None:
    form = {"codes": "DRUM", "reason": "Acid off specification", "to_do": "Stop.", "by": "Ines", "key": "k"}
    wrong = client.post("/trace/recalls/new", data={**form, "codes": "NIL"})
    assert (wrong.status_code, "Acid off specification" in text_of(wrong)) == (422, True)
    for _ in range(2):
        assert client.post("/trace/recalls/new", data=form).location == "/trace/recalls/1"
    page, shop = "/trace/recalls/1", sold.receivers["Corner Shop"]
    assert client.post(f"{page}/told/{shop}", data={"how": "telephone", "reached": "yes", "by": "I"}).status_code == 303
    back = {"code": "CREAM", "units": "2", "receiver": "Corner Shop", "sent_on": "2026-11-20", "by": "Tom"}
    assert client.post(f"{page}/back", data={**back, "units": "99"}).status_code == 422
    assert client.post(f"{page}/back", data=back).status_code == 303
    assert client.post(f"{page}/listed", data={"by": "Ines"}).status_code == 303
    assert client.post(f"{page}/listed", data={"by": "Ines"}).status_code == 409
    assert client.post(f"{page}/widen", data={"by": "Ines"}).status_code == 303
    shown = text_of(client.get(page))
    assert "86 %" in shown
    assert "1 recall is open" in text_of(client.get("/"))
    assert client.post(f"{page}/close", data={"by": "Ines"}).status_code == 422
    assert client.post(f"{page}/close", data={"by": "Ines", "conclusion": "Done."}).status_code == 303
    assert "can no longer be changed" in text_of(client.get(page))
    assert "Corner Shop" in client.get(f"{page}/receivers.csv").get_data(as_text=True)
    assert "R-" in text_of(client.get("/trace/recalls"))
    with store.reading() as session:
        recall = session.scalars(select(Recall)).one()
        assert (recall.units_sent, recall.units_reached, recall.units_returned) == (7, 6, 2)


def test_a_case_is_written_followed_and_closed_and_stands_on_the_first_page(
    client: FlaskClient, store: Store, sold: Graph
) -> None:
    form = {"kind": "undesirable effect", "code": "L26-07", "known_on": "2026-11-01", "what": "Rash.", "by": "Tom"}
    wrong = client.post("/trace/cases/new", data={**form, "code": "NIL"})
    assert (wrong.status_code, "Rash." in text_of(wrong)) == (422, True)
    assert client.post("/trace/cases/new", data={**form, "is_serious": "yes"}).location == "/trace/cases/1"
    page = text_of(client.get("/trace/cases/1"))
    for words in ("Overdue since 1 Nov 2026", "1223/2009", "see a doctor", "Ask your authority", "SOL"):
        assert words in page, words
    assert "1 case has to be reported and is overdue" in text_of(client.get("/"))
    followed = {"actions": "Asked.", "market": "EU", "is_serious": "yes", "person_hurt": "yes", "by": "Tom"}
    assert client.post("/trace/cases/1", data={**followed, "row_version": "9"}).status_code == 409
    done = client.post("/trace/cases/1", data={**followed, "reported_on": "2026-11-02", "row_version": "1"})
    assert done.status_code == 303
    assert client.post("/trace/cases/1/close", data={"by": "Tom"}).status_code == 422
    assert client.post("/trace/cases/1/close", data={"by": "Tom", "conclusion": "Healed."}).status_code == 303
    listed = text_of(client.get("/trace/cases"))
    assert ("142.86" in listed, "closed" in listed) == (True, True)
    with store.reading() as session:
        assert session.scalars(select(CaseFile)).one().conclusion == "Healed."


def test_a_trace_asks_a_handful_of_questions_however_large_it_is(
    client: FlaskClient, store: Store, sold: Graph, statements: CountStatements
) -> None:
    def asked() -> int:
        with statements() as sent:
            assert client.get(f"/trace/lot/{sold.lots['DRUM']}").status_code == 200
        return len(sent)

    client.get("/trace")
    before = asked()
    with store.transaction() as session:
        more = Graph(session, sold.material_id)
        more.lots = dict(sold.lots)
        for n in range(30):
            more.batch(f"X-{n}")
            more.weigh(f"X-{n}", "DRUM")
        more.release()
    assert asked() == before <= 40


def test_the_head_of_every_page_finds_a_code_without_a_script(demo_client: FlaskClient) -> None:
    head = re.compile(r'<form class="find-code" method="get" action="([^"]+)".*?name="(\w+)"', re.S)
    action, name = head.search(demo_client.get("/materials").text).groups()
    meant = (("hc-2026-001", "/trace/batch/2"), ("harbour", "/trace/receiver/1"), ("OD-84120", "/trace/lot/"))
    for typed, place in meant:
        assert demo_client.get(action, query_string={name: typed}).location.startswith(place)
    assert "Nothing has the code" in demo_client.get(action, query_string={name: "no such thing"}).text
