"""Packing runs: begun of a released batch or with a reason, and every unit of them is counted once."""

from decimal import Decimal

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from app.store.batches import Batch, BatchState, Deviation
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.packing import FinishedMove, PackingRun, RunState, UnitsKind, get_run
from app.store.products import products_of
from app.work.clock import now, today
from app.work.form import Faults
from app.work.packing.finished import _SOURCES as SOURCES
from app.work.packing.finished import Of, count_also, finished_rows, units_on_hand
from app.work.packing.runs import (
    FiguresForm,
    RunForm,
    cancel_run,
    figures_form,
    packable,
    record_figures,
    start_run,
    tick_clearance,
)

D = Decimal


def batch_in(store: Store, state: BatchState) -> int:
    with store.reading() as session:
        return session.scalars(select(Batch.id).where(Batch.state == state).order_by(Batch.id)).first() or 0


def begin(store: Store, batch_id: int, **texts: str) -> int:
    with store.reading() as session:
        product_id = packable(session, batch_id).products[0].id
    return start_run(store, batch_id, product_id, RunForm(**{"bulk": "600 g", "who": "Ines", **texts}))


def figures(store: Store, run_id: int, **texts: str) -> None:
    with store.reading() as session:
        run = get_run(session, run_id)
        form, version = figures_form(run, who="Ines").but(**texts), run.row_version
    record_figures(store, run_id, version, form)


def test_a_run_of_a_released_batch_takes_what_the_product_says(demo: Store) -> None:
    batch_id = batch_in(demo, BatchState.RELEASED)
    first, second = begin(demo, batch_id), begin(demo, batch_id)
    with demo.reading() as session:
        run, batch = get_run(session, first), session.get_one(Batch, batch_id)
        assert [run.number, get_run(session, second).number] == [f"{batch.number}-P2", f"{batch.number}-P3"]
        assert (run.fill_amount, run.fill_unit) == (run.product.fill_amount, run.product.fill_unit)
        assert [tick.kind.value for tick in run.ticks] == ["before"] * 3 + ["after"] * 2
        left = packable(session, batch_id).left_g
        assert left == (batch.yield_g or D(0)) - 599 - 1200
        assert [event.what for event in batch.history][-3:] == ["packing started"] * 3
        assert not session.scalars(select(Deviation).where(Deviation.batch_id == batch_id)).all()


def test_a_batch_that_is_not_released_is_packed_with_a_reason_that_somebody_decides_on(demo: Store) -> None:
    batch_id = batch_in(demo, BatchState.IN_PROCESS)
    with pytest.raises(Faults) as wrong:
        begin(demo, batch_id)
    assert list(wrong.value.by_field) == ["early_why"]
    run_id = begin(demo, batch_id, early_why="it sets in the kettle")
    with demo.reading() as session:
        noted = session.scalars(select(Deviation.what).where(Deviation.batch_id == batch_id)).one()
        assert noted == f"Packed as {get_run(session, run_id).number} before its release: it sets in the kettle"
    planned = batch_in(demo, BatchState.PLANNED)
    with pytest.raises(Conflict, match="nothing of it to pack"):
        begin(demo, planned, early_why="x")


def test_the_figures_of_a_run_keep_their_history_and_its_clearance_is_signed(demo: Store) -> None:
    run_id = begin(demo, batch_in(demo, BatchState.RELEASED))
    figures(demo, run_id, units_filled="9", units_spoilt="1", rest="58 g", waste="12,5")
    figures(demo, run_id, units_filled="10")
    with pytest.raises(Faults) as wrong:
        figures(demo, run_id, units_spoilt="11")
    assert list(wrong.value.by_field) == ["units_spoilt"]
    with pytest.raises(Conflict, match="changed in the meantime"):
        record_figures(demo, run_id, 1, FiguresForm(who="Ines"))
    with demo.reading() as session:
        run = get_run(session, run_id)
        points = [tick.id for tick in run.ticks]
        assert (run.units_to_stock, run.waste_g) == (9, D("12.5"))
        assert [(e.old, e.new) for e in run.history if e.what == "Units filled"] == [("0", "9"), ("9", "10")]
    tick_clearance(demo, run_id, points[:3], who="Tom")
    with demo.reading() as session:
        assert [tick.done_by for tick in get_run(session, run_id).ticks] == ["Tom"] * 3 + [""] * 2
    with pytest.raises(Conflict, match="close it"):
        cancel_run(demo, run_id, who="Ines", why="wrong")


def test_units_on_hand_are_packed_less_what_left_by_any_way(demo: Store) -> None:
    batch_id = batch_in(demo, BatchState.RELEASED)
    runs = [begin(demo, batch_id) for _ in range(3)]
    for run_id, units in zip(runs, ("12", "20", "5"), strict=True):
        figures(demo, run_id, units_filled=units, units_spoilt="2")
    with demo.transaction() as session:
        for run_id in runs[:2]:
            run = get_run(session, run_id)
            run.state, run.closed_at, run.closed_by = RunState.CLOSED, now(), "Ines"
        product_id = run.product_id
    with demo.transaction() as session:
        session.add(
            FinishedMove(
                run_id=runs[0], kind=UnitsKind.DISCARDED, units=-3, moved_on=today(), why="fell", by="Tom", at=now()
            )
        )
    count_also("lent", lambda _session, of: {(product_id, batch_id): -5})
    try:
        with demo.reading() as session:
            (row,) = finished_rows(session, Of(product_id, batch_id))
            assert (row.packed, row.on_hand, units_on_hand(session, product_id, batch_id)) == (28, 20, 20)
            assert row.moved == {"counted, used here or discarded": -3, "lent": -5}
    finally:
        del SOURCES["lent"]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE packing_run SET units_filled = 99",
        "UPDATE packing_tick SET words = 'x'",
        "INSERT INTO fill_weight (run_id, n, grams, by, at, reason) VALUES (1, 1, '60', '', '', '')",
        "DELETE FROM packing_event",
    ],
)
def test_a_closed_run_refuses_any_change_in_the_database_itself(demo: Store, change: str) -> None:
    run_id = begin(demo, batch_in(demo, BatchState.RELEASED))
    with demo.transaction() as session:
        run = get_run(session, run_id)
        run.state, run.closed_at, run.closed_by = RunState.CLOSED, now(), "Ines"
    with pytest.raises(DBAPIError, match="kept as it is"), demo.transaction() as session:
        session.execute(text(change.replace(" by,", ' "by",').replace("(1, 1", f"({run_id}, 1")))


def test_every_number_of_a_run_is_its_own(demo: Store) -> None:
    batch_id = batch_in(demo, BatchState.RELEASED)
    run_ids = [begin(demo, batch_id) for _ in range(4)]
    with demo.reading() as session:
        numbers = session.scalars(select(PackingRun.number).where(PackingRun.id.in_(run_ids))).all()
        assert len(set(numbers)) == 4
        assert products_of(session, 1)
