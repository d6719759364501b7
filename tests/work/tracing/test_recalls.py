"""Recalls beside batches that stay what they were; mock ones timed; closed ones kept by the database itself."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.stock import Lot
from app.work.form import Faults
from app.work.tracing.recalls import (
    CloseForm,
    NoticeForm,
    RecallForm,
    RecallSheet,
    SignForm,
    WidenForm,
    close_recall,
    list_complete,
    note_told,
    open_recall,
    recall_sheet,
    recipients_csv,
    take_back,
    widen_recall,
    words_of,
)
from app.work.tracing.receivers import forget_receiver
from app.work.tracing.sending import DispatchForm, send_out
from tests.conftest import GelBatch
from tests.work.tracing.graph import Graph


@pytest.fixture
def sold(store: Store, gel: GelBatch) -> Graph:
    """A drum in N-1 and N-2: six of the first went to a shop, one to Ada, three of the second to nobody known."""
    with store.transaction() as session:
        graph = Graph(session, gel.materials["acid"])
        graph.lot("DRUM")
        for number in ("N-1", "N-2", "N-3"):
            graph.batch(number)
        graph.weigh("N-1", "DRUM")
        graph.weigh("N-2", "DRUM")
        graph.release()
        for number in ("N-1", "N-2", "N-3"):
            graph.pack(number)
        graph.send("N-1", 6, "Corner Shop")
        graph.send("N-1", 1, "Ada")
        graph.send("N-2", 3)
        graph.send("N-3", 2, "Ada")
    return graph


def recalling(**texts: str) -> RecallForm:
    return RecallForm(**{"reason": "Acid off specification", "codes": "DRUM", "by": "Ines", **texts})


def sheet(store: Store, recall_id: int) -> RecallSheet:
    with store.reading() as session:
        return recall_sheet(session, recall_id)


def told(store: Store, recall_id: int, receiver_id: int, **texts: str) -> None:
    note_told(store, recall_id, receiver_id, NoticeForm(**{"how": "telephone", "by": "Ines", **texts}))


def test_a_recall_of_a_lot_holds_its_batches_and_receivers_and_changes_no_batch(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling(), key="k")
    assert open_recall(store, recalling(), key="k") == recall_id
    found = sheet(store, recall_id)
    assert [one.number for one in found.batches] == ["N-1", "N-2"]
    assert [(one.name, one.sent) for one in found.recipients] == [("Corner Shop", 6), ("nobody named", 3), ("Ada", 1)]
    assert (found.figures.sent, found.figures.reached, found.figures.returned) == (10, 0, 0)
    assert recipients_csv(found).splitlines()[1].startswith("Corner Shop,person,Corner Shop@x.example,N-1,6,0,,")
    with store.reading() as session:
        assert {batch.state for batch in session.query(Batch).where(Batch.number.like("N-%"))} == {BatchState.RELEASED}


def test_while_it_is_open_nothing_of_it_goes_out(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling())
    form = DispatchForm(code="N-1", units="1", by="Tom", sent_on="2026-11-20")
    with pytest.raises(Faults) as wrong:
        send_out(store, form)
    assert sheet(store, recall_id).recall.number in wrong.value.by_field["code"]
    send_out(store, form.but(code="N-3"))
    open_recall(store, recalling(codes="N-3", is_mock="yes"))
    send_out(store, form.but(code="N-3"))


def test_a_lot_of_an_open_recall_and_what_its_batches_made_are_used_only_with_a_reason(
    store: Store, sold: Graph
) -> None:
    with store.transaction() as session:
        sold.session = session
        sold.lot("BULK", made_in="N-1")
        sold.lot("OTHER")

    def recalled() -> dict[str, str]:
        with store.reading() as session:
            against = {lot.code: lot.why_not(date(2026, 11, 20)) for lot in session.scalars(select(Lot))}
        return {code: words for code, words in against.items() if "recall" in words}

    open_recall(store, recalling(is_mock="yes"))
    assert recalled() == {}
    recall_id = open_recall(store, recalling())
    number = sheet(store, recall_id).recall.number
    assert recalled() == dict.fromkeys(("DRUM", "BULK"), f"under recall {number}")
    close_recall(store, recall_id, CloseForm(conclusion="All back.", by="Ines"))
    assert recalled() == {}


def test_what_is_reached_and_comes_back_is_counted_and_kept_when_it_is_closed(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling())
    shop, ada = sold.receivers["Corner Shop"], sold.receivers["Ada"]
    told(store, recall_id, shop, reached="yes")
    told(store, recall_id, ada)
    back = DispatchForm(code="N-1", units="4", receiver="Corner Shop", by="Tom", sent_on="2026-11-20")
    take_back(store, recall_id, back, key="k")
    take_back(store, recall_id, back, key="k")
    with pytest.raises(Faults) as wrong:
        take_back(store, recall_id, back.but(code="N-3", units="1"))
    assert "not part of this recall" in wrong.value.by_field["code"]
    figures = sheet(store, recall_id).figures
    assert (figures.sent, figures.reached, figures.returned) == (10, 6, 4)
    assert (figures.reached_percent, figures.returned_percent) == (60, 40)
    with pytest.raises(Faults):
        close_recall(store, recall_id, CloseForm(by="Ines"))
    close_recall(store, recall_id, CloseForm(conclusion="The rest is used up.", by="Ines"))
    forget_receiver(store, shop)
    assert sheet(store, recall_id).figures == figures
    for do in (
        lambda: close_recall(store, recall_id, CloseForm(conclusion="again", by="Ines")),
        lambda: told(store, recall_id, ada),
        lambda: take_back(store, recall_id, back),
        lambda: widen_recall(store, recall_id, WidenForm(codes="N-3", by="Ines")),
        lambda: list_complete(store, recall_id, SignForm(by="Ines")),
    ):
        with pytest.raises(Conflict, match="closed"):
            do()


CLOSED = (
    "UPDATE recall SET reason = 'nothing'",
    "DELETE FROM recall",
    "INSERT INTO recall_batch (recall_id, batch_id, named) SELECT id, 1, 0 FROM recall",
    "UPDATE recall_event SET what = 'x'",
    "DELETE FROM recall_event",
    "UPDATE recall_batch SET named = 1 - named",
    "DELETE FROM recall_lot",
)


@pytest.mark.parametrize("statement", CLOSED)
def test_the_database_refuses_to_change_a_closed_recall(store: Store, sold: Graph, statement: str) -> None:
    recall_id = open_recall(store, recalling())
    close_recall(store, recall_id, CloseForm(conclusion="Done.", by="Ines"))
    with pytest.raises(DBAPIError, match="kept as it is"), store.transaction() as session:
        session.execute(text(statement))


def test_a_mock_recall_is_timed_tells_nobody_and_is_kept(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling(is_mock="yes"))
    with pytest.raises(Conflict, match="nobody is told"):
        told(store, recall_id, sold.receivers["Ada"])
    list_complete(store, recall_id, SignForm(by="Ines"))
    with pytest.raises(Conflict, match="already"):
        list_complete(store, recall_id, SignForm(by="Ines"))
    found = sheet(store, recall_id)
    assert found.recall.number.startswith("M-")
    assert found.took == words_of(found.recall.listed_at - found.recall.opened_at)  # type: ignore[operator]
    assert [event.what for event in found.recall.history] == ["opened", "batches found", "list complete"]


def test_a_recall_grows_by_lots_named_later_and_by_what_was_made_since(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling(codes="N-1"))
    assert widen_recall(store, recall_id, WidenForm(codes="DRUM", by="Ines")) == 1
    assert [one.number for one in sheet(store, recall_id).batches] == ["N-1", "N-2"]


@pytest.mark.parametrize(
    ("texts", "field"),
    [({"reason": " "}, "reason"), ({"codes": ""}, "codes"), ({"codes": "DRUM\nNIL"}, "codes"), ({"by": ""}, "by")],
)
def test_what_is_missing_is_told_at_its_field(store: Store, sold: Graph, texts: dict[str, str], field: str) -> None:
    with pytest.raises(Faults) as wrong:
        open_recall(store, recalling(**texts))
    assert list(wrong.value.by_field) == [field]


def test_only_who_got_something_is_told(store: Store, sold: Graph) -> None:
    recall_id = open_recall(store, recalling(codes="N-2"))
    with pytest.raises(NotFound):
        told(store, recall_id, sold.receivers["Ada"])


def test_times_are_said_in_words() -> None:
    spans = [timedelta(seconds=8), timedelta(seconds=75), timedelta(hours=26, minutes=5)]
    assert [words_of(span) for span in spans] == ["8 s", "1 min 15 s", "26 h 5 min"]
