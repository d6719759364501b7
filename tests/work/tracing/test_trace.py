"""From a lot to every batch and receiver and back: at any depth, through circles, exact, the same both ways."""

from collections.abc import Iterator
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from app.store.engine import Store
from app.work.tracing.code_search import find_code
from app.work.tracing.reach import back, onward
from app.work.tracing.trace import lines_of, trace_batch, trace_csv, trace_lot, trace_receiver
from tests.conftest import GelBatch
from tests.work.tracing.graph import Graph, drawn_in


@pytest.fixture
def graph(store: Store, gel: GelBatch) -> Iterator[Graph]:
    with drawn_in(store, gel.materials["acid"]) as drawn:
        yield drawn


@pytest.fixture
def chain(graph: Graph) -> Graph:
    """A drum of acid, a solution made of it, a second solution of that one, and the cream they end in."""
    graph.lot("DRUM", supplier_lot="Q-77")
    for batch, lot, made in (("S-1", "DRUM", "SOL-1"), ("S-2", "SOL-1", "SOL-2"), ("CREAM", "SOL-2", "")):
        graph.batch(batch)
        graph.weigh(batch, lot)
        if made:
            graph.lot(made, made_in=batch)
    graph.lot("JARS", packaging_id=graph.packaging())
    graph.release()
    run = graph.pack("CREAM", 20, code="L26-07", lots=("JARS",))
    graph.send("CREAM", 6, "Corner Shop", run=run)
    graph.send("CREAM", 2, "Ada", run=run)
    graph.send("CREAM", 1, "Ada", run=run, back=True)
    return graph


def drawn(branches: object) -> list[tuple[int, str, str]]:
    return [(level, one.kind, one.code) for level, one in lines_of(branches)]  # type: ignore[arg-type]


def test_a_drum_leads_through_two_solutions_to_everybody_who_got_a_jar(chain: Graph) -> None:
    trace = trace_lot(chain.session, chain.lots["DRUM"])
    assert drawn(trace.onward) == [
        (1, "batch", "S-1"), (2, "lot", "SOL-1"), (3, "batch", "S-2"), (4, "lot", "SOL-2"), (5, "batch", "CREAM"),
        (6, "run", "CREAM-P1"), (7, "receiver", "Ada"), (7, "receiver", "Corner Shop"),
    ]  # fmt: skip
    assert (trace.went_to.units_sent, trace.went_to.units_returned, trace.went_to.receivers) == (8, 1, 2)
    assert trace.back == ()


def test_a_jar_leads_back_to_every_lot_and_its_packaging(chain: Graph) -> None:
    (found,) = find_code(chain.session, "l26-07")
    assert (found.kind, found.path) == ("batch", f"/trace/batch/{chain.batches['CREAM']}")
    trace = trace_batch(chain.session, chain.batches["CREAM"])
    assert drawn(trace.back) == [
        (1, "lot", "SOL-2"), (2, "batch", "S-2"), (3, "lot", "SOL-1"), (4, "batch", "S-1"), (5, "lot", "DRUM"),
        (1, "lot", "JARS"),
    ]  # fmt: skip
    assert {code for _, _, code in drawn(trace.back)} >= {"DRUM", "JARS"}
    assert "lot Q-77" in {one.detail for _, one in lines_of(trace.back)}
    assert trace_csv(trace).splitlines()[5].startswith("from,5,lot,DRUM,")


def test_packaging_leads_to_the_runs_that_used_it_and_what_went_out_of_them(chain: Graph) -> None:
    chain.pack("CREAM", 5)
    trace = trace_lot(chain.session, chain.lots["JARS"])
    assert [one for one in drawn(trace.onward) if one[1] != "receiver"] == [(1, "run", "CREAM-P1")]
    assert trace.went_to.units_sent == 8


def test_a_receiver_leads_back_to_every_lot_of_what_they_got(chain: Graph) -> None:
    trace = trace_receiver(chain.session, chain.receivers["Ada"])
    assert {code for _, kind, code in drawn(trace.back) if kind == "lot"} == {"DRUM", "SOL-1", "SOL-2", "JARS"}
    assert trace.back[0].amount == "2 units"


def test_a_corrected_weighing_does_not_count_and_is_told(chain: Graph) -> None:
    chain.lot("OTHER")
    chain.batch("TONIC")
    wrong = chain.weigh("TONIC", "DRUM")
    chain.weigh("TONIC", "OTHER", by=wrong)
    trace = trace_lot(chain.session, chain.lots["DRUM"])
    assert "TONIC" not in {code for _, _, code in drawn(trace.onward)}
    assert [(one.batch, one.grams, one.reason) for one in trace.corrected] == [("TONIC", "10", "wrong lot")]
    assert [code for _, _, code in drawn(trace_lot(chain.session, chain.lots["OTHER"]).onward)] == ["TONIC"]


def test_a_weighing_that_was_taken_back_or_never_weighed_does_not_count(chain: Graph) -> None:
    chain.batch("TONIC")
    chain.weigh("TONIC", grams=None, by=chain.weigh("TONIC", "DRUM"))
    chain.weigh("TONIC", "DRUM", grams=None)
    chain.weigh("TONIC", "DRUM", grams="0")
    assert chain.batches["TONIC"] not in onward(chain.session, [chain.lots["DRUM"]]).batches


def test_typed_words_of_a_lot_are_found_both_ways_and_marked(chain: Graph) -> None:
    for batch, words in (("T-1", "q-77"), ("T-2", "Q-771"), ("T-3", "strange")):
        chain.batch(batch)
        chain.weigh(batch, text=words)
    trace = trace_lot(chain.session, chain.lots["DRUM"])
    assert [(one.code, one.by_text) for one in trace.onward] == [("S-1", False), ("T-1", True)]
    back_to = trace_batch(chain.session, chain.batches["T-1"]).back
    assert [(one.code, one.by_text) for one in back_to] == [("DRUM", True)]
    assert drawn(trace_batch(chain.session, chain.batches["T-3"]).back) == [(1, "typed", "strange")]
    assert [one.code for one in find_code(chain.session, "strange")] == ["T-3"]


def test_material_without_any_lot_is_told_as_a_gap(chain: Graph) -> None:
    chain.batch("GAP")
    chain.weigh("GAP")
    trace = trace_batch(chain.session, chain.batches["GAP"])
    assert [(use.material, use.grams) for use in trace.unnamed] == [("Solution", Decimal(10))]
    assert trace.back[0].code == "no lot noted"


def test_rework_in_a_circle_ends_and_is_drawn_once(graph: Graph) -> None:
    for batch in ("A", "B"):
        graph.batch(batch)
    graph.lot("OF-A", made_in="A")
    graph.lot("OF-B", made_in="B")
    graph.weigh("A", "OF-B")
    graph.weigh("B", "OF-A")
    graph.weigh("A", "OF-A")
    trace = trace_batch(graph.session, graph.batches["A"])
    assert {code for _, _, code in drawn(trace.onward)} == {"OF-A", "OF-B", "A", "B"}
    assert len(drawn(trace.back)) < 10
    assert set(back(graph.session, [graph.batches["A"]]).batches) == set(graph.batches.values())


NODES = st.integers(0, 3)
USES = st.lists(st.tuples(NODES, NODES, st.sampled_from(["lot", "typed", "corrected"])), max_size=8)
MADE = st.lists(st.one_of(st.none(), NODES), min_size=4, max_size=4)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(made=MADE, uses=USES)
def test_there_and_back_is_the_same_relation(
    store: Store, gel: GelBatch, made: list[int | None], uses: list[tuple[int, int, str]]
) -> None:
    with drawn_in(store, gel.materials["acid"]) as graph:
        session = graph.session
        batches = [graph.batch(f"B{n}") for n in range(4)]
        lots = [graph.lot(f"L{n}", made_in="" if of is None else f"B{of}") for n, of in enumerate(made)]
        for lot, batch, how in uses:
            if how == "typed":
                graph.weigh(f"B{batch}", text=f"L{lot}")
            else:
                weighing = graph.weigh(f"B{batch}", f"L{lot}")
                if how == "corrected":
                    graph.weigh(f"B{batch}", grams=None, by=weighing)
        assert pairs_onward(session, lots) == pairs_back(session, batches) == by_hand(made, uses, batches, lots)


def pairs_onward(session: Session, lots: list[int]) -> set[tuple[int, int]]:
    return {(lot, batch) for lot in lots for batch in onward(session, [lot]).batches}


def pairs_back(session: Session, batches: list[int]) -> set[tuple[int, int]]:
    return {(lot, batch) for batch in batches for lot in back(session, [batch]).lots}


def by_hand(
    made: list[int | None], uses: list[tuple[int, int, str]], batches: list[int], lots: list[int]
) -> set[tuple[int, int]]:
    """Close the relation by walking until nothing new comes: another way to the same pairs."""
    pairs = {(lot, batch) for lot, batch, how in uses if how != "corrected"}
    while True:
        more = {
            (lot, further) for lot, batch in pairs for later, further in pairs if made[later] == batch
        } - pairs  # fmt: skip
        if not more:
            return {(lots[lot], batches[batch]) for lot, batch in pairs}
        pairs |= more
