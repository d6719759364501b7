"""What a batch cost in fact: each lot at what was paid for it, and everything printed adds up."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from app.science.actual_cost import Spent, run_amounts, share_of_lot, with_overhead
from app.science.errors import Invalid
from app.store.batches import Batch, BatchLine
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.labour import worked_times
from app.store.materials import PackagingRow
from app.store.packing import PackingRun, get_run
from app.store.products import ExchangeRate, Product, ProductPackaging
from app.store.workshop import the_workshop
from app.work.batches.batch_readings import YieldForm, record_yield
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.weighing import WeighingForm, record_weighings
from app.work.equipment import PACKAGING, PackagingForm
from app.work.form import Faults
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.packing.actual_cost import BatchCost, batch_cost, read_cost
from app.work.packing.labour import CancelTimeForm, TimeForm, cancel_time, note_time
from app.work.packing.packaging_lots import LotUseForm, record_lot_use
from app.work.packing.runs import RunForm, figures_form, record_figures, start_run
from app.work.packing.samples import SampleForm, keep_sample
from app.work.stock.lots import OutputForm, ReceiveForm, receive, receive_output

D = Decimal
MONEY = st.decimals("0", "100000", places=4)


def weigh(store: Store, gel: Any, word: str, grams: str, lot: str) -> None:
    with store.reading() as session:
        seen = load_batch(session, gel.batch_id).row_version
        of_word = select(BatchLine.id).where(
            BatchLine.batch_id == gel.batch_id, BatchLine.material_id == gel.materials[word]
        )
        line_id = session.scalars(of_word).one()
    typed = WeighingForm(line_id, grams, lot, sure=grams)
    record_weighings(store, gel.batch_id, seen, [typed], who="Ines")


def cost_of(store: Store, batch_id: int) -> BatchCost:
    with store.reading() as session:
        found = read_cost(session, batch_id)
    assert found is not None
    return found


def test_each_lot_counts_at_what_was_paid_for_it_by_the_rate_of_its_day(store: Store, gel: Any) -> None:
    with store.transaction() as session:
        for day, rate in ((date(2026, 3, 1), "0.90"), (date(2026, 9, 1), "0.80")):
            session.add(ExchangeRate(currency="USD", rate=D(rate), noted_on=day))
    glycerin = gel.materials["glycerin"]
    for code, day, paid in (("A", "2026-05-02", "10"), ("B", "2026-10-02", "30")):
        form = {"amount": "1 kg", "paid": paid, "currency": "usd", "received_on": day, "code": code}
        receive(store, ReceiveForm(**form, accepted="yes", by="I"), material_id=glycerin)
    weigh(store, gel, "glycerin", "10", "A")
    weigh(store, gel, "glycerin", "5", "B")
    weigh(store, gel, "water", "400", "tap")
    found = cost_of(store, gel.batch_id)
    spent = {one.lot: one for one in found.materials}
    assert (spent["A"].cost, spent["B"].cost) == (D("0.09"), D("0.12"))  # 10 g x 10 USD x 0.90, 5 g x 30 USD x 0.80
    assert spent["A"].source == "paid for the lot"
    assert (spent["tap"].cost, found.unpriced) == (None, ("Water, purified",))


def test_what_was_made_here_costs_what_went_into_it(store: Store, gel: Any) -> None:
    receive(
        store,
        ReceiveForm(amount="1 kg", paid="20", code="G", accepted="yes", by="I"),
        material_id=gel.materials["glycerin"],
    )
    weigh(store, gel, "glycerin", "15", "G")
    output = OutputForm(amount="150 g", code="PRE", by="I", received_on="2026-11-02")
    receive_output(store, gel.batch_id, output, material_id=gel.materials["alkali"])
    with store.reading() as session:
        other = session.scalars(select(Batch.id).where(Batch.id != gel.batch_id)).first()
        assert other is None
    # The batch takes of its own pre-mix: a circle ends, and says that the cost is not known.
    weigh(store, gel, "alkali", "3", "PRE: a circle")
    found = cost_of(store, gel.batch_id)
    assert {one.name: one.source for one in found.materials}["Sodium hydroxide 10 %"] == "made here"
    assert "Sodium hydroxide 10 %" in found.unpriced


def test_the_demonstration_adds_up_and_agrees_with_its_lots_by_hand(demo: Store) -> None:
    with demo.reading() as session:
        batches = session.scalars(select(Batch).order_by(Batch.id)).all()
        costs = {batch.number: batch_cost(session, load_batch(session, batch.id)) for batch in batches}
    assert costs["HR-2026-001"] is None
    cream = costs["HC-2026-001"]
    assert cream is not None
    jar, label, box = cream.packaging
    # Two packs of 48 at 52.80, one of 500 at 85.00; 20 jars and 21 labels were used or spoilt.
    assert (jar.cost, label.cost, box.cost) == (20 * D("105.60") / 96, 21 * D("85") / 500, None)
    (run,) = cream.runs
    assert run.per_unit is not None
    share = Fraction(1200 - 31) / Fraction(1200)
    by_hand = (Fraction(cream.amounts.materials) + Fraction(cream.amounts.labour)) * share + Fraction(jar.cost or 0)
    by_hand = (by_hand + Fraction(label.cost or 0)) * (1 + Fraction(18, 100)) / 16
    assert float(run.per_unit.total) == pytest.approx(float(by_hand), rel=1e-12)
    assert [least for _, _, least in cost_of(demo, cream.batch.id).columns] == [True] * 4
    for cost in (one for one in costs.values() if one is not None):
        columns = {words: amounts for words, amounts, _ in cost.columns}
        assert all(sum(amounts[:4]) == amounts[4] for amounts in columns.values())
        made = columns["Batch as made"]
        assert sum(shown or 0 for _, shown in cost.material_rows) == made[0]
        assert sum(shown or 0 for _, shown in cost.packaging_rows) == made[1]


@given(parts=st.tuples(MONEY, MONEY, MONEY), overhead=st.integers(0, 300), share=st.integers(0, 100))
def test_runs_of_the_whole_batch_bear_the_whole_of_it(parts: tuple[Decimal, ...], overhead: int, share: int) -> None:
    materials, packaging, labour = parts
    whole = with_overhead(materials, packaging, labour, D(overhead))
    assert whole.overhead == (materials + packaging + labour) * overhead / 100
    first = run_amounts(whole, D(share) / 100, packaging, D(overhead))
    second = run_amounts(whole, 1 - D(share) / 100, D(0), D(overhead))
    assert first.total + second.total == whole.total


@given(paid=MONEY, received=st.decimals("0.001", "100000", places=3), taken=st.integers(0, 100))
def test_the_parts_of_a_lot_cost_what_was_paid_for_it(paid: Decimal, received: Decimal, taken: int) -> None:
    part = received * taken / 100
    both = share_of_lot(part, paid, received) + share_of_lot(received - part, paid, received)
    assert abs(both - paid) <= D("1e-20") * (1 + paid)


@pytest.mark.parametrize(("taken", "paid", "received"), [("1", "1", "0"), ("-1", "1", "1"), ("1", "-1", "1")])
def test_a_lot_of_nothing_or_less_is_refused(taken: str, paid: str, received: str) -> None:
    with pytest.raises(Invalid):
        share_of_lot(D(taken), D(paid), D(received))


def test_lines_without_a_cost_stay_out_of_the_rounding() -> None:
    spent = [
        Spent("a", "", D(1), "g", D("0.005"), ""),
        Spent("b", "", D(1), "g", None, ""),
        Spent("c", "", D(1), "g", D("0.005"), ""),
    ]
    cost = BatchCost(None, tuple(spent), with_overhead(D("0.01"), D(0), D(0), D(0)), None, (), "EUR", 2)  # type: ignore[arg-type]
    assert [shown for _, shown in cost.material_rows] == [D("0.01"), None, D("0.00")]


def test_time_that_was_noted_counts_in_place_of_the_planned_minutes(demo: Store) -> None:
    with demo.reading() as session:
        run = session.scalars(select(PackingRun).where(PackingRun.number == "HC-2026-001-P1")).one()
        batch_id, run_id, made = run.batch_id, run.id, run.batch.yield_g or D(0)
    planned = cost_of(demo, batch_id)
    assert (planned.minutes, planned.planned_minutes) == (None, D(110))
    assert Fraction(planned.amounts.labour) == pytest.approx(Fraction(22) * 110 / 60)
    note_time(demo, batch_id, None, TimeForm(minutes="1:00", who="Ines"), key="a")
    note_time(demo, batch_id, None, TimeForm(minutes="1:00", who="Ines"), key="a")
    note_time(demo, batch_id, run_id, TimeForm(minutes="30", who="Tom", note="filling"))
    found = cost_of(demo, batch_id)
    # 22 an hour: an hour of making and half an hour at the run, which bears 1200 - 31 g of the yield.
    assert (found.minutes, found.amounts.labour) == (90, D(33))
    assert Fraction(found.runs[0].amounts.labour) == pytest.approx(Fraction(22) * 1169 / Fraction(made) + 11)
    assert Fraction(found.amounts.overhead) == pytest.approx(sum(map(Fraction, found.amounts.parts[:3])) * 18 / 100)
    assert found.planned == planned.planned
    with demo.reading() as session:
        ids = [one.id for one in worked_times(session, batch_id)]
    assert len(ids) == 2
    for one in ids:
        cancel_time(demo, one, CancelTimeForm(why="another batch", who="Ines"))
    assert cost_of(demo, batch_id).minutes is None
    with pytest.raises(Conflict, match="cancelled already"):
        cancel_time(demo, ids[0], CancelTimeForm(why="again", who="Ines"))
    with pytest.raises((DBAPIError, Conflict)), demo.transaction() as session:
        session.execute(text("UPDATE worked_time SET minutes = 5"))


@pytest.mark.parametrize(
    ("typed", "minutes"),
    [("1", 1), ("45", 45), ("0:45", 45), ("1:05", 65), ("60000", 60_000), *((x, None) for x in
     ("", "0", "0:00", "1:60", "-5", "2.5", "60001", "1:2:3", "an hour"))],
)  # fmt: skip
def test_minutes_are_read_as_minutes_or_as_hours_and_minutes(store: Store, typed: str, minutes: int | None) -> None:
    with store.reading() as session:
        if minutes is None:
            with pytest.raises(Faults) as wrong:
                TimeForm(minutes=typed, who="Ines").checked(session)
            assert set(wrong.value.by_field) == {"minutes"}
        else:
            assert TimeForm(minutes=typed, who="Ines").checked(session).minutes == minutes


def test_time_is_noted_only_for_a_run_of_the_batch(demo: Store) -> None:
    with demo.reading() as session:
        run_id = session.scalars(select(PackingRun.id).where(PackingRun.number == "HC-2026-001-P1")).one()
    for batch_id, of_run in ((1, run_id), (99, None)):
        with pytest.raises(NotFound):
            note_time(demo, batch_id, of_run, TimeForm(minutes="5", who="Ines"))


def test_a_batch_worked_out_by_hand_from_two_lots_in_two_currencies_with_packaging_spoilt_and_samples_kept(
    store: Store, gel: Any
) -> None:
    """Two lots of glycerin and of jars, each paid in its currency; a jar and a unit spoilt, two units kept, time noted.

    Materials: 300 g at 10 USD x 0.90 a kg are 2.70, 100 g at 30 EUR a kg are 3.00; 5.70 in all.
    Jars: 6 at 50 USD x 0.80 a hundred are 2.40, 3 at 30 EUR for fifty are 1.80; 4.20 in all.
    Labour: an hour of making and half an hour at the run, 20 an hour: 20 and 10.
    The batch: 5.70 + 4.20 + 30, and a tenth of 39.90: 43.89.
    The run takes 400 - 40 g of the 400 g made, nine tenths: 5.13 + 4.20 + 18 + 10, and a tenth of 37.33: 41.063 for
    8 filled less 1 spoilt and 2 kept, which is 8.2126 a unit.
    """
    with store.transaction() as session:
        shop = the_workshop(session)
        shop.labour_rate, shop.overhead_percent = D(20), D(10)
        for day, rate in ((date(2026, 3, 1), "0.90"), (date(2026, 9, 1), "0.80")):
            session.add(ExchangeRate(currency="USD", rate=D(rate), noted_on=day))
    lines = (DraftLine("g", "a", "Glycerin, vegetable", qs=True),)
    formula = create(store, "Glycerin", code="GL", content=Draft(phases=(DraftPhase("a"),), lines=lines, batch="400 g"))
    batch_id = plan_batch(store, Plan(formula, None, "400 g", loss="0", planned_on="2026-11-20", made_by="Ines"))
    glycerin = gel.materials["glycerin"]
    PACKAGING.add(store, PackagingForm("Jar"))
    with store.reading() as session:
        jar = session.scalars(select(PackagingRow.id)).one()
    for of, code, amount, paid, currency, day in (
        ({"material_id": glycerin}, "A", "1 kg", "10", "usd", "2026-05-02"),
        ({"material_id": glycerin}, "B", "1 kg", "30", "", "2026-10-02"),
        ({"packaging_id": jar}, "J1", "100", "50", "usd", "2026-10-02"),
        ({"packaging_id": jar}, "J2", "50", "30", "", "2026-10-05"),
    ):
        form = ReceiveForm(amount=amount, paid=paid, currency=currency, received_on=day, code=code, by="I")
        receive(store, form.but(accepted="yes"), **of)
    with store.reading() as session:
        batch = load_batch(session, batch_id)
        entries = [WeighingForm(batch.lines[0].id, grams, code) for grams, code in (("300", "A"), ("100", "B"))]
        seen = batch.row_version
    record_weighings(store, batch_id, seen, entries, who="Ines")
    record_yield(store, batch_id, YieldForm("400", "Ines"))
    with store.transaction() as session:
        pack = [ProductPackaging(position=0, packaging_id=jar, per_unit=D(1))]
        product = Product(formula_id=formula, name="Jar of it", fill_amount=D(45), fill_unit="g")
        product.currency, product.packaging, product.created_at = "EUR", pack, datetime(2026, 11, 1, tzinfo=UTC)
        session.add(product)
        session.flush()
        product_id = product.id
    run_id = start_run(store, batch_id, product_id, RunForm(bulk="400 g", early_why="a trial", who="Tom"))
    for code, issued, used, spoilt, back in (("J1", "6", "5", "1", "0"), ("J2", "4", "3", "0", "1")):
        record_lot_use(store, run_id, LotUseForm(code, issued, used, spoilt, back, who="Tom"))
    with store.reading() as session:
        run = get_run(session, run_id)
        figures, seen = (
            figures_form(run, who="Tom").but(units_filled="8", units_spoilt="1", rest="40 g"),
            run.row_version,
        )
    record_figures(store, run_id, seen, figures)
    keep_sample(store, run_id, SampleForm(units="2", place="Shelf", keep_until="2030-01-01", who="Tom"))
    note_time(store, batch_id, None, TimeForm(minutes="60", who="Ines"))
    note_time(store, batch_id, run_id, TimeForm(minutes="30", who="Tom"))
    found = cost_of(store, batch_id)
    assert found.amounts.parts == (D("5.70"), D("4.20"), D(30), D("3.990"))
    assert found.amounts.total == D("43.89")
    (run_cost,) = found.runs
    assert (run_cost.units, run_cost.amounts.total) == (5, D("41.063"))
    columns = {words: amounts for words, amounts, least in found.columns if not least}
    assert columns["Batch as made"] == (D("5.70"), D("4.20"), D("30.00"), D("3.99"), D("43.89"))
    assert columns[f"Unit as made, {run_cost.number}"][4] == D("8.21")
    assert all(sum(amounts[:4]) == amounts[4] for amounts in columns.values())
    assert [(one.lot, shown) for one, shown in found.material_rows] == [("A", D("2.70")), ("B", D("3.00"))]
    assert [(one.lot, shown) for one, shown in found.packaging_rows] == [("J1", D("2.40")), ("J2", D("1.80"))]
