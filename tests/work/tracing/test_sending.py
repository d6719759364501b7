"""Units that go out and come back: never more than were packed, files taken whole, receivers forgotten for good."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import inspect, select, text
from sqlalchemy.exc import DBAPIError

from app.store.distribution import Dispatch, DispatchImport, get_receiver
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.packing import FinishedBalance
from app.work.csv_text import Unreadable
from app.work.form import Faults
from app.work.packing.finished import units_on_hand
from app.work.tracing.cases import CaseForm, open_case
from app.work.tracing.receivers import ReceiverForm, forget_receiver, list_receivers, revise_receiver
from app.work.tracing.sending import CancelForm, DispatchForm, cancel_dispatch, send_out, units_out
from app.work.tracing.sent_file import list_sent_files, preview_sent, sent_csv, take_sent, undo_sent
from tests.conftest import GelBatch
from tests.work.tracing.graph import Graph


@pytest.fixture
def packed(store: Store, gel: GelBatch) -> Graph:
    """A released batch N-1 packed in 20 units, code L26, and N-2 that is still in process with 5."""
    with store.transaction() as session:
        graph = Graph(session, gel.materials["acid"])
        for number, units in (("N-1", 20), ("N-2", 5)):
            graph.batch(number)
            graph.pack(number, units, code={"N-1": "L26"}.get(number, number))
        in_process = graph.batches.pop("N-2")
        graph.release()
        graph.batches["N-2"] = in_process
    return graph


def sending(**texts: str) -> DispatchForm:
    return DispatchForm(**{"code": "N-1", "units": "6", "sent_on": "2026-11-20", "by": "Tom", **texts})


def refused(store: Store, **texts: str) -> dict[str, str]:
    with pytest.raises(Faults) as wrong:
        send_out(store, sending(**texts))
    return wrong.value.by_field


def on_hand(store: Store, graph: Graph) -> tuple[int, int]:
    of = (graph.product.id, graph.batches["N-1"])
    with store.reading() as session:
        kept = session.get(FinishedBalance, of)
        assert (kept.units if kept else 0) == units_on_hand(session, *of)
        return units_on_hand(session, *of), units_out(session, *of)


def test_no_more_goes_out_than_was_packed_and_what_comes_back_can_go_again(store: Store, packed: Graph) -> None:
    send_out(store, sending(units="15", receiver="Corner Shop", receiver_kind="shop", contact="corner@x.example"))
    assert "5 units are on hand and 15 out" in refused(store, units="6")["units"]
    assert "Only 15" in refused(store, units="16", kind="returned")["units"]
    send_out(store, sending(units="4", kind="returned", code="L26"))
    assert on_hand(store, packed) == (9, 11)
    send_out(store, sending(units="9", kind="gift"))
    assert on_hand(store, packed) == (0, 20)


def test_no_receiver_brings_back_more_than_it_has(store: Store, packed: Graph) -> None:
    ada = send_out(store, sending(units="6", receiver="Ada", order_number="A-1"))
    send_out(store, sending(units="6", receiver="Ben"))
    assert "Ada has 6 of batch N-1" in refused(store, units="7", kind="returned", receiver="Ada")["units"]
    back = send_out(store, sending(units="4", kind="returned", receiver="Ada"))
    assert "Ada has 2" in refused(store, units="3", kind="returned", receiver="Ada")["units"]
    with pytest.raises(Conflict, match="cancel the return first"):
        cancel_dispatch(store, ada, CancelForm(why="wrong batch", by="Tom"))
    # Whoever was sent none of it had it of a shop; and nobody need be named.
    send_out(store, sending(units="1", kind="returned", receiver="Cleo"))
    send_out(store, sending(units="3", kind="returned", receiver=""))
    assert on_hand(store, packed) == (16, 4)
    cancel_dispatch(store, back, CancelForm(why="never came", by="Tom"))
    send_out(store, sending(units="6", kind="returned", receiver="ada"))
    assert on_hand(store, packed) == (18, 2)


def test_one_form_sends_once(store: Store, packed: Graph) -> None:
    assert send_out(store, sending(), key="k") == send_out(store, sending(), key="k")
    assert on_hand(store, packed) == (14, 6)


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"units": "0"}, "units"),
        ({"units": "2.5"}, "units"),
        ({"units": "-3"}, "units"),
        ({"units": "9" * 30}, "units"),
        ({"code": "N-9"}, "code"),
        ({"code": "N-2"}, "code"),
        ({"sent_on": "2199-01-01"}, "sent_on"),
        ({"by": " "}, "by"),
        ({"contact": "a@b.example"}, "receiver"),
        ({"product": "Soap"}, "product"),
    ],
)
def test_what_cannot_go_out_is_told_at_its_field(
    store: Store, packed: Graph, texts: dict[str, str], field: str
) -> None:
    assert list(refused(store, **texts)) == [field]
    assert on_hand(store, packed) == (20, 0)


def test_samples_may_go_before_release_and_nothing_else(store: Store, packed: Graph) -> None:
    send_out(store, sending(code="N-2", kind="sample", units="1", receiver="Test laboratory"))
    assert "only samples" in refused(store, code="N-2", units="1")["code"]


def test_a_wrong_line_is_cancelled_stays_readable_and_cannot_be_altered(store: Store, packed: Graph) -> None:
    first = send_out(store, sending(units="20"))
    back = send_out(store, sending(units="5", kind="returned"))
    with pytest.raises(Conflict, match="come back"):
        cancel_dispatch(store, first, CancelForm(why="wrong batch", by="Tom"))
    again = send_out(store, sending(units="5"))
    with pytest.raises(Conflict, match="gone out again"):
        cancel_dispatch(store, back, CancelForm(why="never came", by="Tom"))
    for one in (again, back, first):
        cancel_dispatch(store, one, CancelForm(why="wrong batch", by="Tom"))
    assert on_hand(store, packed) == (20, 0)
    with pytest.raises(Conflict, match="already"):
        cancel_dispatch(store, first, CancelForm(why="again", by="Tom"))
    for change in ("UPDATE dispatch SET units = 1", "UPDATE dispatch SET cancelled_why = 'x'", "DELETE FROM dispatch"):
        with pytest.raises(DBAPIError, match="kept as it is"), store.transaction() as session:
            session.execute(text(change))


def test_a_receiver_is_found_again_by_name_and_contact(store: Store, packed: Graph) -> None:
    for contact in ("", "ada@x.example", "", " ADA@x.example ", "ada@y.example"):
        send_out(store, sending(units="1", receiver="Ada", contact=contact))
    with store.reading() as session:
        assert [one.contact for one in list_receivers(session)] == ["ada@x.example", "ada@y.example"]
    assert "2 receivers named Ada" in refused(store, units="1", receiver="ada")["contact"]


def everything_said(store: Store) -> str:
    """Put every text of every table into one."""
    tables = inspect(store.engine).get_table_names()
    with store.reading() as session:
        return " ".join(str(row) for table in tables for row in session.execute(text(f"SELECT * FROM {table}")))  # noqa: S608


def test_who_is_forgotten_is_nowhere_any_more_and_the_units_still_count(store: Store, packed: Graph) -> None:
    who = {"receiver": "Ada Quill", "contact": "quill@x.example", "order_number": "ORDER-4711"}
    send_out(store, sending(**who))
    open_case(store, CaseForm(code="N-1", what="Lid broke", receiver="Ada Quill", contact="quill@x.example", by="Tom"))
    with store.reading() as session:
        (receiver,) = list_receivers(session, "quill")
    revise_receiver(store, receiver.id, ReceiverForm("Ada Quillon", contact="quillon@x.example"), receiver.row_version)
    assert "Quillon" in everything_said(store)
    forget_receiver(store, receiver.id)
    said = everything_said(store)
    assert not [word for word in ("Ada", "Quill", "quill", "4711") if word in said]
    assert on_hand(store, packed) == (14, 6)
    with store.reading() as session:
        assert get_receiver(session, receiver.id).words == f"forgotten receiver {receiver.id}"
        assert list_receivers(session) == []
    with pytest.raises(Conflict, match="forgotten"):
        revise_receiver(store, receiver.id, ReceiverForm("Ada"), receiver.row_version + 1)
    with pytest.raises(DBAPIError, match="kept as it is"), store.transaction() as session:
        session.execute(text("UPDATE receiver SET forgotten_at = NULL, name = 'Ada'"))


HEAD = "code,units,kind,date,receiver,receiver_kind,contact,order_number\r\n"
GOOD = HEAD + "N-1,3,sale,2026-11-20,Ada,person,ada@x.example,1\r\nL26,4,gift,2026-11-21,Corner Shop,shop,,\r\n"


def test_a_file_says_what_it_would_do_is_taken_whole_and_taken_back_whole(store: Store, packed: Graph) -> None:
    with store.reading() as session:
        found = preview_sent(session, GOOD.encode(), "Tom")
    assert (len(found.lines), found.units, found.new_receivers) == (2, 7, 2)
    assert on_hand(store, packed) == (20, 0)
    taken = take_sent(store, GOOD.encode(), by="Tom", file_name="november.csv", key="k")
    assert take_sent(store, GOOD.encode(), by="Tom", key="k") == taken
    assert on_hand(store, packed) == (13, 7)
    with store.reading() as session:
        again = preview_sent(session, GOOD.encode(), "Tom")
        assert [one.known_before for one in again.lines] == [True, False]
        out = sent_csv(session.scalars(select(Dispatch).order_by(Dispatch.id)).all())
    assert undo_sent(store, taken, by="Tom") == "2 lines"
    assert on_hand(store, packed) == (20, 0)
    assert "ada@x.example" not in everything_said(store)
    take_sent(store, out.encode(), by="Tom")
    with store.reading() as session:
        assert sent_csv(session.scalars(select(Dispatch).where(Dispatch.cancelled_at.is_(None)))) == out
        assert [row.undone_at is None for row in list_sent_files(session)] == [True, False]


@pytest.mark.parametrize(
    ("body", "line", "words"),
    [
        ("N-1,12,,,,,,\r\nN-1,9,,,,,,\r\n", 3, "only 8 units"),
        ("N-9,1,,,,,,\r\n", 2, "no batch"),
        ("N-1,1,theft,,,,,\r\n", 2, "Choose sale"),
        ("N-1,1,,20.11.2026,,,,\r\n", 2, "year-month-day"),
        ("", 0, "no dispatch"),
        ("N-1,1\r\n", 2, "cells"),
    ],
)
def test_a_file_with_a_fault_is_not_taken_and_every_fault_has_its_line(
    store: Store, packed: Graph, body: str, line: int, words: str
) -> None:
    with pytest.raises(Unreadable) as wrong:
        take_sent(store, (HEAD + body).encode(), by="Tom")
    assert [(fault.line, words in fault.message) for fault in wrong.value.faults] == [(line, True)]
    with store.reading() as session:
        assert session.scalars(select(DispatchImport)).all() == []


STEPS = st.lists(
    st.tuples(st.sampled_from(["sale", "gift", "sample", "returned", "cancel"]), st.integers(1, 12)), max_size=14
)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_whatever_is_tried_units_are_never_made_or_lost(
    store: Store, packed: Graph, steps: list[tuple[str, int]]
) -> None:
    expected_out = on_hand(store, packed)[1]
    for kind, units in steps:
        before = on_hand(store, packed)
        try:
            if kind == "cancel":
                with store.reading() as session:
                    ids = session.scalars(select(Dispatch.id).where(Dispatch.cancelled_at.is_(None))).all()
                    ours = {one: session.get_one(Dispatch, one).signed_units for one in ids}
                if ids:
                    cancel_dispatch(store, ids[units % len(ids)], CancelForm(why="wrong", by="Tom"))
                    expected_out -= ours[ids[units % len(ids)]]
            else:
                send_out(store, sending(kind=kind, units=str(units)))
                expected_out += -units if kind == "returned" else units
        except (Faults, Conflict):
            assert on_hand(store, packed) == before
        there, out = on_hand(store, packed)
        assert (there + out, out) == (20, expected_out)
        assert min(there, out) >= 0
