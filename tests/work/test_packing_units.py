"""Fill weights, retained samples and finished units of packing runs, with counts and dates worked out by hand."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.keeping_time import add_months
from app.store.batches import Batch, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.packing import PackingRun, RetainedSample, RunState
from app.store.products import Product
from app.store.stock import Lot
from app.store.workshop import Jurisdiction
from app.work.clock import now, today
from app.work.form import Faults
from app.work.packing.fills import CorrectFillForm, FillForm, add_weights, correct_weight, fills_of, usual_fill_g
from app.work.packing.finished import all_gone, finished_page, finished_rows, low_products, past_their_date
from app.work.packing.listing import batch_packing, latest_runs, packing_wants, runs_of
from app.work.packing.packaging_lots import LotUseForm, record_lot_use
from app.work.packing.record import packing_record
from app.work.packing.runs import RunForm, cancel_run, last_day, packable, start_form, start_run
from app.work.packing.samples import (
    LookForm,
    SampleForm,
    discard_sample,
    keep_sample,
    look_at_sample,
    sample_rows,
    units_left,
    usual_sample,
)
from app.work.packing.units_by_hand import UnitsForm, finished_csv, move_units

D = Decimal
DAY = today()


def open_run(session: Session) -> PackingRun:
    return session.scalars(select(PackingRun).where(PackingRun.state == RunState.OPEN)).one()


def closed_run(session: Session) -> PackingRun:
    """The hand cream of the demonstration: 19 filled, 1 spoilt, 2 kept, so that 16 jars of 60 g went to the stock."""
    return session.scalars(select(PackingRun).where(PackingRun.state == RunState.CLOSED)).one()


def test_weights_are_net_numbered_on_and_corrected_by_rows_that_name_who_and_why(demo: Store) -> None:
    with Session(demo.engine, expire_on_commit=False) as session:
        run_id, first = open_run(session).id, len(open_run(session).weights)
    add_weights(demo, run_id, FillForm(weights="111,5 112.25 g", tare="10 g", who="Tom"))
    with Session(demo.engine, expire_on_commit=False) as session:
        *_, one, two = open_run(session).weights
        assert [(w.n, w.grams, w.tare_g, w.by) for w in (one, two)] == [
            (first + 1, D("101.5"), 10, "Tom"), (first + 2, D("102.25"), 10, "Tom"),
        ]  # fmt: skip
        assert open_run(session).history[-1].new == "101.5 g, 102.25 g"
    correct_weight(demo, run_id, one.id, CorrectFillForm(grams="101", reason="misread", who="Ines"))
    correct_weight(demo, run_id, two.id, CorrectFillForm(grams="", reason="fell", who="Ines"))
    with Session(demo.engine, expire_on_commit=False) as session:
        run = open_run(session)
        *_, right, gone = run.weights
        assert (right.n, right.grams, right.tare_g, right.by, right.reason) == (one.n, 101, 10, "Ines", "misread")
        assert [(e.what, e.old, e.new, e.why) for e in run.history[-2:]] == [
            (f"fill weight {one.n}", "101.5 g", "101 g", "misread"),
            (f"fill weight {two.n}", "102.25 g", "taken back", "fell"),
        ]
        assert run.standing_weights[-1] == 101
        assert len(run.standing_weights) == first + 1
        assert [w.id for w in packing_record(session, run.id).standing][-1] == right.id
    for weight_id in (one.id, two.id, gone.id):
        with pytest.raises(NotFound):
            correct_weight(demo, run_id, weight_id, CorrectFillForm(grams="1", reason="x", who="Ines"))


def test_fills_are_judged_in_the_measure_of_the_content(demo: Store) -> None:
    """101.4, 101.9, 101.6, 102.3 and 101.2 g of 1.01 g/ml are 100.67 ml in the mean; in the EU 100 ml may lack 4.5."""
    with Session(demo.engine, expire_on_commit=False) as session:
        run = open_run(session)
        fills = fills_of(run)
        assert (fills.unit, fills.tolerance, fills.limits) == ("ml", D("4.5"), (D("95.5"), 91))
        assert (fills.mean_g, round(fills.mean or 0, 2)) == (D("101.68"), D("100.67"))
        assert fills.judged
        assert (fills.judged.passes, fills.why_not) == (True, "")
        assert usual_fill_g(run, fills) == D("101.68")
        run.density_g_ml = None
        fills = fills_of(run)
        assert (fills.values, fills.mean, fills.judged, fills.mean_g) == ((), None, None, D("101.68"))
        assert fills.why_not.startswith("The content is a volume and the formula has no density")
        run.fill_amount, run.fill_unit, run.density_g_ml = D(4), "g", D("1.01")
        assert fills_of(run).limits == ()
        assert fills_of(run).why_not == "No shipped table holds a tolerance for this content."
        run.jurisdiction, run.fill_amount, run.fill_unit = Jurisdiction.US, D(100), "ml"
        assert "Handbook 133, table 2-6" in fills_of(run).why_not
        session.rollback()
        cream = closed_run(session)
        fills = fills_of(cream)
        assert (fills.unit, fills.values) == ("g", fills.grams)
        session.rollback()
        run = open_run(session)
        run.weights = []
        with session.no_autoflush:
            fills = fills_of(run)
            assert (fills.mean_g, fills.mean, fills.judged) == (None, None, None)
            assert (fills.why_not, usual_fill_g(run, fills)) == ("No fill weight is recorded.", 101)
        session.rollback()


def test_a_sample_is_taken_of_good_units_looked_at_in_time_and_thrown_away_once(demo: Store) -> None:
    with demo.transaction() as session:
        run = open_run(session)
        run.units_filled, run.units_spoilt, run_id, packed = 5, 1, run.id, run.packed_on
    form = SampleForm(units="4", place="Shelf", keep_until=(packed + timedelta(900)).isoformat(), who="Tom")
    before = (packed - timedelta(1)).isoformat()
    with pytest.raises(Faults) as wrong:
        keep_sample(demo, run_id, form.but(units="5", keep_until=before))
    assert list(wrong.value.by_field) == ["units", "keep_until"]
    kept = keep_sample(demo, run_id, form.but(look_months="6"))
    with Session(demo.engine, expire_on_commit=False) as session:
        assert (open_run(session).units_sampled, open_run(session).units_to_stock) == (4, 0)
        sample = session.get_one(RetainedSample, kept)
        assert (sample.units, sample.kept_on, sample.by, sample.look_months) == (4, packed, "Tom", 6)
    look = LookForm(seen="as before", units_used="1", looked_on=packed.isoformat(), who="Ines")
    look_at_sample(demo, kept, look)
    for field, text in (("units_used", "4"), ("looked_on", before)):
        with pytest.raises(Faults) as wrong:
            look_at_sample(demo, kept, look.but(**{field: text}))
        assert list(wrong.value.by_field) == [field]
    look_at_sample(demo, kept, look.but(units_used="2", looked_on=(packed + timedelta(1)).isoformat()))
    with Session(demo.engine, expire_on_commit=False) as session:
        (row,) = [row for row in sample_rows(session) if row.sample.id == kept]
        assert (row.units, row.sample.look_on) == (1, add_months(packed + timedelta(1), 6))
    look_at_sample(demo, kept, look)
    with Session(demo.engine, expire_on_commit=False) as session:
        (row,) = [row for row in sample_rows(session) if row.sample.id == kept]
        assert (row.units, row.sample.look_on) == (0, None)
        assert [one.by for one in row.sample.looks] == ["Ines"] * 3
    discard_sample(demo, kept, who="Tom")
    with Session(demo.engine, expire_on_commit=False) as session:
        sample = session.get_one(RetainedSample, kept)
        assert (sample.discarded_by, sample.discarded_on, units_left(sample)) == ("Tom", DAY, 0)
        assert [row.sample.id for row in sample_rows(session, discarded=True)] == [kept]
        assert kept not in [row.sample.id for row in sample_rows(session)]
    with pytest.raises(Conflict):
        look_at_sample(demo, kept, look)


def test_samples_to_throw_away_come_first_then_those_due_then_by_their_day(demo: Store) -> None:
    def kept(session: Session, on: date, until: date, months: int | None) -> int:
        sample = RetainedSample(units=2, place="x", kept_on=on, keep_until=until, look_months=months, by="I")
        sample.look_on = add_months(on, months) if months else None
        sample.run_id = open_run(session).id
        session.add(sample)
        session.flush()
        return sample.id

    with Session(demo.engine, expire_on_commit=False) as session:
        old, year = DAY - timedelta(800), DAY + timedelta(366)
        never = kept(session, old, DAY, None)
        later = kept(session, DAY, year, 6)
        due = kept(session, old, DAY, 6)
        over = kept(session, old, DAY - timedelta(1), None)
        rows = {row.sample.id: row for row in sample_rows(session)}
        mine = [number for number in rows if number in (never, later, due, over)]
        assert mine == [over, due, later, never]
        assert [(rows[n].is_over, rows[n].is_due) for n in mine] == [
            (True, False), (False, True), (False, False), (False, False),
        ]  # fmt: skip
        wants = packing_wants(session)
        assert wants.open_runs == 1
        assert (wants.to_discard, wants.to_look_at) == (
            sum(r.is_over for r in rows.values()), sum(r.is_due for r in rows.values()),
        )  # fmt: skip
        session.rollback()


def test_a_sample_is_usually_kept_a_year_beyond_the_printed_date_or_three_from_packing(demo: Store) -> None:
    with Session(demo.engine, expire_on_commit=False) as session:
        run = open_run(session)
        run.best_before, run.packed_on = date(2028, 2, 29), date(2026, 11, 25)
        form = usual_sample(run, who="Tom")
        assert (form.text["keep_until"], form.text["units"], form.text["look_months"]) == ("2029-02-28", "2", "6")
        run.best_before = None
        assert usual_sample(run).text["keep_until"] == "2029-11-25"
        session.rollback()


def test_finished_units_are_counted_used_and_thrown_away_and_the_low_and_the_old_are_seen(demo: Store) -> None:
    """Beside the 16 jars of the demonstration 4 more are packed, of which 1 is spoilt; their date is the only one."""
    with Session(demo.engine, expire_on_commit=False) as session:
        product_id, batch_id = closed_run(session).product_id, closed_run(session).batch_id
    until = DAY + timedelta(100)
    begun = start_run(demo, batch_id, product_id, RunForm(who="Tom", best_before=until.isoformat()))
    with demo.transaction() as session:
        run = session.get_one(PackingRun, begun)
        run.units_filled, run.units_spoilt = 4, 1
        session.flush()
        run.state, run.closed_at, run.closed_by = RunState.CLOSED, now(), "Tom"
        session.get_one(Product, product_id).reorder = 1
    with Session(demo.engine, expire_on_commit=False) as session:
        (before,) = [row for row in finished_rows(session) if row.batch_id == batch_id]
        assert (before.packed, before.best_before, before.last_packed) == (19, until, DAY)
        there = before.on_hand
    form = UnitsForm(kind="discarded", units="2", why="fell", who="Tom")
    assert move_units(demo, product_id, batch_id, form) == -2
    assert move_units(demo, product_id, batch_id, form.but(kind="used here", units=str(there - 2))) == 2 - there
    for units, words in (("0", "Enter how many"), ("1", "Only 0 are on hand")):
        with pytest.raises(Faults, match=words):
            move_units(demo, product_id, batch_id, form.but(units=units))
    with Session(demo.engine, expire_on_commit=False) as session:
        assert [(one.on_hand, one.keep) for one in low_products(session, DAY)] == [(0, 1)]
        assert (all_gone(session), finished_page(session)) == (1, [])
        (gone,) = finished_page(session, everything=True)
        assert (gone.packed, gone.on_hand, gone.moved) == (19, 0, {"otherwise": -19})
    assert move_units(demo, product_id, batch_id, form.but(kind="counted", units="1")) == 1
    with Session(demo.engine, expire_on_commit=False) as session:
        (row,) = finished_page(session)
        assert (row.on_hand, row.best_before, row.last_packed) == (1, until, DAY)
        assert (all_gone(session), low_products(session, DAY)) == (0, [])
        assert [past_their_date(session, day) for day in (until, until + timedelta(1))] == [0, 1]
        assert [row.is_past(day) for day in (until, until + timedelta(1))] == [False, True]
        assert [one.on_hand for one in low_products(session, until + timedelta(1))] == [0]
        assert low_products(session, until) == []
        assert finished_page(session, skip=1) == []
        assert finished_csv([row]).splitlines()[1:] == [
            f"{row.product},{row.batch},19,-18,1,{until.isoformat()},{row.last_packed.isoformat()}"
        ]
    with pytest.raises(NotFound):
        move_units(demo, product_id, batch_id + 1, form)


def test_runs_are_listed_the_open_ones_first_and_of_a_batch_in_their_order(demo: Store) -> None:
    with Session(demo.engine, expire_on_commit=False) as session:
        batch = session.scalars(select(Batch).where(Batch.number == "HC-2026-001")).one()
        product_id = packable(session, batch.id).products[0].id
    begun = [start_run(demo, batch.id, product_id, RunForm(who="Tom", bulk="100 g")) for _ in "ab"]
    with Session(demo.engine, expire_on_commit=False) as session:
        latest = latest_runs(session)
        assert [row.state for row in latest] == [RunState.OPEN] * 3 + [RunState.CLOSED]
        assert {row.id for row in latest[:2]} == set(begun)
        assert latest[0].id == begun[1]
        assert [[row.id for row in latest_runs(session, skip=n)] for n in (1, 3, 4)] == [
            [row.id for row in latest[n:]] for n in (1, 3, 4)
        ]
        assert latest[3].units == 16
        assert [row.id for row in runs_of(session, batch.id)] == [latest[3].id, *begun]
        shown = batch_packing(session, session.get_one(Batch, batch.id))
        assert shown
        assert (len(shown.runs), [one.id for one in shown.products][:1]) == (3, [product_id])
        planned = session.scalars(select(Batch).where(Batch.state == BatchState.PLANNED)).one()
        assert batch_packing(session, planned) is None
    with pytest.raises(Faults) as wrong:
        cancel_run(demo, begun[0], who="Tom", why=" ")
    assert list(wrong.value.by_field) == ["why"]
    cancel_run(demo, begun[0], who="Tom", why="not today")
    with Session(demo.engine, expire_on_commit=False) as session:
        run = session.get_one(PackingRun, begun[0])
        assert (run.state, run.closed_by, run.history[-1].why) == (RunState.CANCELLED, "Tom", "not today")
    with pytest.raises(Conflict):
        cancel_run(demo, begun[0], who="Tom", why="x")


def test_a_run_begins_with_what_is_left_of_the_batch(demo: Store) -> None:
    """Of 1200 g the first run took 1200 and brought 31 back."""
    with Session(demo.engine, expire_on_commit=False) as session:
        batch = session.scalars(select(Batch).where(Batch.number == "HC-2026-001")).one()
        product = packable(session, batch.id).products[0]
        product.open_months = 9
        form = start_form(session, batch, product, who="Tom")
        assert (form.text["bulk"], form.text["who"], form.text["open_months"]) == ("31 g", "Tom", "9")
        assert form.text["code_printed"] == batch.number
        session.rollback()


def test_units_are_best_before_the_months_of_their_product_or_the_date_of_a_lot(demo: Store) -> None:
    with Session(demo.engine, expire_on_commit=False) as session:
        batch = session.scalars(select(Batch).where(Batch.state == BatchState.IN_PROCESS)).one()
        product = packable(session, batch.id).products[0]
        batch.started_at, product.shelf_months = datetime(2026, 1, 31, tzinfo=UTC), 1
        assert last_day(session, batch, product) == date(2026, 2, 28)
        assert start_form(session, batch, product).text["best_before"] == "2026-02-28"
        batch.started_at, batch.planned_on = None, date(2026, 3, 15)
        assert last_day(session, batch, product) == date(2026, 4, 15)
        lot = session.scalars(select(Lot)).first()
        assert lot
        lot.expires_on, lot.received_on = date(2026, 4, 1), date(2026, 1, 1)
        batch.lines[0].weighings.append(BatchWeighing(grams=D(1), by="Ines", at=now(), lot_id=lot.id))
        session.flush()
        assert last_day(session, batch, product) == date(2026, 4, 1)
        product.shelf_months = None
        assert (last_day(session, batch, product), start_form(session, batch, product).text["best_before"]) == (
            None,
            "",
        )
        session.rollback()


def test_more_pieces_than_a_lot_holds_need_a_reason_and_a_slip_of_the_pen_leaves_none_behind(demo: Store) -> None:
    with demo.transaction() as session:
        lot = session.scalars(select(Lot).where(Lot.code == "PUMP-100-0914")).one()
        run_id, lot_id, held = open_run(session).id, lot.id, lot.on_hand
        taken = sum((one.issued - one.returned for one in open_run(session).lots if one.lot_id == lot_id), D(0))
    slip = LotUseForm("PUMP-100-0914", issued="9000", who="Tom")
    with pytest.raises(Faults) as wrong:
        record_lot_use(demo, run_id, slip)
    assert list(wrong.value.by_field) == ["reason"]
    record_lot_use(demo, run_id, slip.but(reason="a full pallet"))
    record_lot_use(demo, run_id, slip.but(issued="9"))
    with demo.reading() as session:
        # What is on hand and what the run has add up to what there was.
        assert session.get_one(Lot, lot_id).on_hand == held + taken - 9
        assert "short, with" in open_run(session).deviations[-1].what
    record_lot_use(demo, run_id, slip.but(issued="9", returned="4"))
    with demo.reading() as session:
        assert session.get_one(Lot, lot_id).on_hand == held + taken - 5
