"""The first page's values: what is in work, what was decided, and what the workshop still lacks."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import delete, text

from app.store.batches import BatchState
from app.store.engine import Store
from app.store.stock import Lot, LotState
from app.store.workshop import ScaleRow
from app.work.batches.batch_readings import ReadingForm, add_reading
from app.work.batches.ticks import TickForm, tick
from app.work.clock import today
from app.work.first_page import look_at_bench
from app.work.materials.prices import PriceForm, add_price
from app.work.stock.lots import DecisionForm, ReceiveForm, decide_lot, receive


def test_batches_in_work_and_decided_ones_are_kept_apart(demo: Store) -> None:
    bench = look_at_bench(demo)
    assert bench.is_demo
    assert {row.state for row in bench.open_batches} == {BatchState.PLANNED, BatchState.IN_PROCESS}
    assert {row.state for row in bench.decided_batches} == {BatchState.RELEASED, BatchState.REJECTED}


@pytest.mark.sqlite
def test_an_old_batch_in_process_is_not_hidden_by_newer_ones(demo: Store) -> None:
    waiting = [row.number for row in look_at_bench(demo).open_batches]
    with demo.transaction() as session:
        known = {name for (_, name, *_rest) in session.execute(text("PRAGMA table_info(batch)"))} - {"id", "number"}
        rest = ", ".join(sorted(known))
        chosen = rest.replace("planned_on", "'2027-01-01'")
        counting = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 250)"
        released = f"SELECT 'Z-' || id || '-' || i, {chosen} FROM batch, n WHERE state = 'released'"  # noqa: S608
        copy = f"INSERT INTO batch (number, {rest}) {released}"
        session.execute(text(f"{counting} {copy}"))
    assert [row.number for row in look_at_bench(demo).open_batches] == waiting


def test_formulas_come_with_the_one_touched_last_at_the_top(demo: Store) -> None:
    times = [row.changed_at for row in look_at_bench(demo).formulas]
    assert times == sorted(times, reverse=True)
    assert len(times) == 8


def test_a_workshop_without_a_scale_is_told_so_with_the_page_to_mend_it(demo: Store) -> None:
    assert not any("scale" in one.words for one in look_at_bench(demo).wanting)
    with demo.transaction() as session:
        session.execute(delete(ScaleRow))
    assert any("scale" in one.words and one.path == "/workshop/scales" for one in look_at_bench(demo).wanting)


def test_an_empty_workshop_has_a_bench_too(store: Store) -> None:
    bench = look_at_bench(store)
    assert not bench.is_demo
    assert (bench.formulas, bench.open_batches, bench.decided_batches) == ((), (), ())
    assert bench.wanting


def test_what_is_wanting_is_counted_in_words(store: Store, gel: Any) -> None:
    def words() -> list[str]:
        return [one.words for one in look_at_bench(store).wanting if "backup" not in one.words]

    price = PriceForm("10", "1 kg")
    assert words() == ["5 materials have no price yet; costs that use them say 'at least'."]
    for material_id in list(gel.materials.values())[:4]:
        add_price(store, material_id, price)
    held = ReceiveForm(amount="5 g", by="I", received_on="2026-01-01")
    lots = [receive(store, held, material_id=gel.materials["acid"]) for _ in "ab"]
    add_reading(store, gel.batch_id, ReadingForm(kind="pH", words="5", who="Ines"))
    tick(store, gel.batch_id, [1], TickForm(who="Ines"))
    low = "4 materials or packaging are low."  # water, 15 g of glycerin, 2.5 of carbomer and 9 of alkali for the gel
    one, process = (
        "1 material has no price yet; costs that use it say 'at least'.",
        "1 batch is in process and not decided.",
    )
    assert words() == [one, low, "2 lots wait in quarantine.", process]
    for lot, day in zip(lots, (0, -1), strict=True):
        with store.transaction() as session:
            session.get_one(Lot, lot).expires_on = today() + timedelta(day)
        decide_lot(store, lot, DecisionForm(state=LotState.ACCEPTED.value, by="I"))
    assert words() == [one, low, "1 lot is past its date.", "1 lot is due within 30 days.", process]
