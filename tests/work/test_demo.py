"""The demonstration workshop uses every part of the tool, and adds up."""

from datetime import datetime
from decimal import Decimal

from sqlalchemy import select

from app.store.batches import Batch, BatchState
from app.store.distribution import Dispatch
from app.store.engine import Store
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.materials import MaterialRow
from app.store.packing import PackingRun
from app.store.quality import CaseFile
from app.store.stock import LotState, MoveKind, StockMove, get_lot
from app.store.workshop import scales, the_workshop
from app.web import create_app
from app.work.formulas.versions import read_version
from app.work.stock.ledger import SHORT, check_ledger
from app.work.stock.listing import attention
from app.work.tracing.code_search import find_code
from app.work.tracing.reach import back
from app.work.tracing.trace import trace_batch, trace_lot


def test_every_product_is_a_version_that_adds_up(demo: Store) -> None:
    with demo.reading() as session:
        versions = session.scalars(select(FormulaVersion.id)).all()
        sums = {sum(line.percent for line in read_version(session, v).lines) for v in versions}
    assert len(versions) == 9
    assert sums == {Decimal(100)}


def test_the_kinds_of_product_that_were_promised_are_there(demo: Store) -> None:
    with demo.reading() as session:
        kinds = " ".join(session.scalars(select(FormulaRow.product_type)))
    for word in ("gel", "oil in water", "body wash", "cationic", "anhydrous", "powder", "tinted", "mist"):
        assert word in kinds


def test_there_are_scales_and_batches_in_every_state(demo: Store) -> None:
    with demo.reading() as session:
        assert len(scales(session)) == 3
        assert the_workshop(session).is_demo
        assert set(session.scalars(select(Batch.state))) == set(BatchState) - {
            BatchState.QUARANTINE,
            BatchState.CANCELLED,
        }


def test_a_released_batch_has_the_ph_its_formula_asks_for(demo: Store) -> None:
    with demo.reading() as session:
        released = session.scalars(select(Batch).where(Batch.state == BatchState.RELEASED)).all()
        compared = [
            (read_version(session, batch.version_id).target_ph, reading.value)
            for batch in released
            for reading in batch.readings
            if reading.kind == "pH"
        ]
    assert len(compared) == 2
    assert all(target and read and abs(target - read) <= Decimal("0.2") for target, read in compared)


def test_formulas_were_written_one_after_the_other_in_one_summer(demo: Store) -> None:
    with demo.reading() as session:
        written = session.scalars(select(FormulaRow.changed_at)).all()
    assert len({moment.date() for moment in written}) == len(written) == 9


def test_every_gram_of_a_decided_batch_leads_to_a_lot_that_was_there_and_the_ledger_agrees(demo: Store) -> None:
    with demo.reading() as session:
        decided = session.scalars(select(Batch).where(Batch.decided_at.is_not(None))).all()
        assert len(decided) == 4
        for batch in decided:
            standing = [(line, one) for line in batch.lines for one in line.standing]
            assert all(one.grams and one.lot_id for _, one in standing)
            for line, one in standing:
                lot = get_lot(session, one.lot_id or 0)
                assert (lot.material_id, lot.state) == (line.material_id, LotState.ACCEPTED)
                assert lot.received_on <= batch.planned_on
            weighed = select(StockMove.amount).where(
                StockMove.batch_id == batch.id,
                StockMove.batch_line_id.is_not(None),
                StockMove.kind != MoveKind.RECEIVED,  # water, drawn for the line
            )
            moved = session.scalars(weighed).all()
            assert -sum(moved) == batch.weighed_g
            # Back to what was bought or drawn here: nothing is only typed, whatever was made on the way.
            came = back(session, [batch.id])
            assert came.typed == []
            for node in came.lots.values():
                drawn = node.material_id is not None and session.get_one(MaterialRow, node.material_id).drawn_here
                assert drawn or node.from_batch_id or (node.supplier and node.supplier_lot)
        short = session.scalars(select(StockMove).where(StockMove.why == SHORT)).all()
        assert short == []


def test_a_jar_leads_through_a_pre_mix_to_its_lots_and_a_lot_to_everybody_who_got_a_unit(demo: Store) -> None:
    with demo.reading() as session:
        (jar,) = find_code(session, "hc-2026-001")
        trace = trace_batch(session, int(jar.path.rsplit("/", 1)[1]))
        shea = [lot for lot in trace.came_from.lots.values() if lot.name == "Shea butter"]
        assert {node.number for node in trace.came_from.batches.values()} == {"HC-2026-001", "TP-2026-001"}
        assert len(shea) == 2
        assert {one.children[0].code for one in trace.back if one.name == "Mixed tocopherols 50 %"} == {"TP-2026-001"}
        # The oil went into the cream by itself and in the pre-mix, and with it to every receiver.
        oil = next(lot for lot in trace.came_from.lots.values() if lot.name == "Sunflower oil, high oleic")
        went = trace_lot(session, oil.id).went_to
        assert {"HC-2026-001", "TP-2026-001"} <= {node.number for node in went.batches.values()}
        assert {one.receiver for one in went.sent if one.receiver} >= {"Ada Finch", "Harbour Lane Shop"}
        (case,) = session.scalars(select(CaseFile)).all()
        assert case.batch_id in went.batches
        assert [one.path for one in find_code(session, case.number.lower())] == [f"/trace/cases/{case.id}"]
        assert [(one.kind, one.code) for one in find_code(session, "finch  ada")] == [("receiver", "Ada Finch")]
        assert find_code(session, "finch harbour") == []


def test_every_unit_that_was_packed_and_sent_belongs_to_a_batch_that_was_released(demo: Store) -> None:
    with demo.reading() as session:
        for run in session.scalars(select(PackingRun)):
            sent = session.scalars(select(Dispatch).where(Dispatch.run_id == run.id)).all()
            assert run.batch.state is BatchState.RELEASED
            assert sum(one.signed_units for one in sent) <= run.units_to_stock
            assert {one.batch_id for one in sent} <= {run.batch_id}
        assert session.scalars(select(Dispatch).where(Dispatch.run_id.is_(None))).all() == []


def test_no_product_of_the_demonstration_gets_a_caution_for_its_ph(demo: Store) -> None:
    page = create_app(demo, secret=b"a key for tests").test_client().get("/formulas/3/checks").text
    assert "outside pH" not in page


def test_the_stock_of_the_demo_adds_up_and_shows_what_a_stock_can_say(demo: Store) -> None:
    count, faults = check_ledger(demo)
    assert count > 20
    assert faults == []
    with demo.reading() as session:
        seen = attention(session)
        assert (seen.held, seen.expired) == (1, 1)
        assert session.scalars(select(MaterialRow.name).where(MaterialRow.drawn_here == 1)).all() == ["Water, purified"]


def test_what_is_recorded_follows_the_days_it_was_done_on(demo: Store) -> None:
    """A batch is started on its day and decided after it, then packed; the ledger of a lot runs forward in time."""
    with demo.reading() as session:
        for batch in session.scalars(select(Batch).where(Batch.started_at.is_not(None))):
            assert batch.made_on == batch.planned_on
            assert batch.decided_at is None or batch.started_at < batch.decided_at
        for run in session.scalars(select(PackingRun)):
            assert run.created_at.astimezone().date() == run.packed_on
            assert run.batch.decided_at < run.created_at
        moments: dict[int, list[datetime]] = {}
        for move in session.scalars(select(StockMove).order_by(StockMove.id)):
            moments.setdefault(move.lot_id, []).append(move.at)
    assert moments
    assert all(found == sorted(found) for found in moments.values())
