"""Lots and their ledger: on hand is the sum of what moved, never below zero, and nothing is lost or doubled."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from sqlalchemy import func, select, text, update
from sqlalchemy.exc import DBAPIError

from app.science.errors import Invalid
from app.store.batches import BatchLine
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.materials import MaterialRow, PackagingRow
from app.store.stock import Lot, LotState, MoveKind, StockMove, Supplier
from app.work.batches.as_made import made_formula
from app.work.batches.deviations import record_deviation, still_open
from app.work.batches.loading import load_batch
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.clock import today
from app.work.deviations import DeviationForm
from app.work.equipment import PACKAGING, PackagingForm
from app.work.form import Faults
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.pricing import received_amounts
from app.work.stock import listing
from app.work.stock.ledger import check_ledger, count_lot, follow_line, move, rebuild_on_hand, take
from app.work.stock.lot_composition import composition_form, lot_parts, set_composition
from app.work.stock.lots import (
    CountForm,
    DecisionForm,
    LotForm,
    MoveForm,
    OutputForm,
    ReceiveForm,
    count_by_hand,
    decide_lot,
    house_lot,
    move_by_hand,
    receive,
    receive_output,
    revise_lot,
)
from app.work.stock.weighed import offered_lots
from tests.work.test_two_people import at_once, two

D = Decimal


def delivery(amount: str = "1 kg", **texts: str) -> ReceiveForm:
    return ReceiveForm(**{"amount": amount, "by": "Ines", "received_on": "2026-11-02", "accepted": "yes", **texts})


@pytest.fixture
def oil(store: Store) -> int:
    parts = (PartForm("Helianthus Annuus Seed Oil"),)
    return add_material(store, MaterialForm("Sunflower oil", density="0.92", parts=parts))


@pytest.fixture
def lot_id(store: Store, oil: int) -> int:
    return receive(store, delivery(), material_id=oil)


def on_hand(store: Store, lot: int) -> Decimal:
    with store.reading() as session:
        return session.scalars(select(Lot.on_hand).where(Lot.id == lot)).one()


def test_a_delivery_becomes_a_lot_a_line_of_the_ledger_and_a_price(store: Store, oil: int) -> None:
    texts = {
        "supplier": "Quay Oils",
        "supplier_lot": "Q-77",
        "expires_on": "2027-11-01",
        "place": "B2",
        "paid": "12,40",
    }
    first = receive(store, delivery("5 L", **texts), material_id=oil, key="k")
    assert receive(store, delivery("9 L"), material_id=oil, key="k") == first
    receive(store, delivery("250", accepted=""), material_id=oil)
    with store.reading() as session:
        lots = list(session.scalars(select(Lot).order_by(Lot.id)))
        material = session.get_one(MaterialRow, oil)
        assert [(lot.code, lot.on_hand, lot.state.value, lot.amount_text) for lot in lots] == [
            ("26-306-1", D(4600), "accepted", "5 L"),
            ("26-306-2", D(250), "quarantine", "250 g"),
        ]
        assert (lots[0].supplier_lot, lots[0].expires_on, lots[0].decided_by) == ("Q-77", date(2027, 11, 1), "Ines")
        assert session.scalars(select(Supplier.name)).all() == ["Quay Oils"]
        assert [(p.amount, p.quantity_g, p.supplier) for p in material.prices] == [(D("12.4"), D(4600), "Quay Oils")]
        assert [event.what for event in lots[0].history] == ["received", "state"]


def test_packaging_is_counted_in_pieces_and_its_price_follows(store: Store) -> None:
    PACKAGING.add(store, PackagingForm("Jar 60 ml", "48", "52.80"))
    lot = receive(store, delivery("144 pieces", paid="150"), packaging_id=1)
    assert on_hand(store, lot) == 144
    with store.reading() as session:
        prices = session.get_one(PackagingRow, 1).prices
        assert [(price.amount, price.quantity_g) for price in prices] == [(D("52.8"), 48), (150, 144)]
    with pytest.raises(Faults):
        receive(store, delivery("2 kg"), packaging_id=1)


WRONG = [
    ({"amount": ""}, "amount"), ({"amount": "0"}, "amount"), ({"amount": "-5"}, "amount"),
    ({"amount": "1e400"}, "amount"), ({"by": ""}, "by"), ({"expires_on": "2026-10-01"}, "expires_on"),
    ({"expires_on": "soon"}, "expires_on"), ({"paid": "x"}, "paid"), ({"code": "x" * 61}, "code"),
    ({"supplier_lot": "S" * 121}, "supplier_lot"),
]  # fmt: skip


@pytest.mark.parametrize(("texts", "field"), WRONG, ids=range(len(WRONG)))
def test_what_is_wrong_with_a_delivery_is_told_at_its_field(
    store: Store, oil: int, texts: dict[str, str], field: str
) -> None:
    with pytest.raises(Faults) as refused:
        receive(store, delivery(**texts), material_id=oil)
    assert [fault.field for fault in refused.value.faults] == [field]


def test_a_lot_code_is_given_once(store: Store, oil: int) -> None:
    receive(store, delivery(code="26-306-2"), material_id=oil)
    with pytest.raises(Faults, match="There is a lot"):
        receive(store, delivery(code="26-306-2"), material_id=oil)
    for _ in range(2):
        receive(store, delivery(), material_id=oil)
    with store.reading() as session:
        assert sorted(session.scalars(select(Lot.code))) == ["26-306-1", "26-306-2", "26-306-3"]


def test_a_lot_is_corrected_and_its_history_keeps_both(store: Store, lot_id: int) -> None:
    with store.reading() as session:
        lot = session.get_one(Lot, lot_id)
        seen, typed = lot.row_version, LotForm.of(lot)
    revise_lot(store, lot_id, typed.but(supplier_lot="Q-78", place="C1"), seen, by="Per")
    with store.reading() as session:
        history = [(e.what, e.old, e.new, e.by) for e in session.get_one(Lot, lot_id).history]
    assert history[-2:] == [("Supplier's lot", "", "Q-78", "Per"), ("Place", "", "C1", "Per")]
    with pytest.raises(Conflict):
        revise_lot(store, lot_id, typed.but(place="D1"), seen)


def test_a_lot_in_quarantine_refused_or_expired_is_used_only_with_a_written_reason(store: Store, oil: int) -> None:
    held = receive(store, delivery(accepted=""), material_id=oil)
    old = receive(store, delivery(received_on="2020-01-02", expires_on="2021-01-01"), material_id=oil)
    for lot, words in ((held, "in quarantine"), (old, "expired on 1 Jan 2021")):
        typed = MoveForm(kind="used", amount="10", by="Ines")
        with pytest.raises(Faults, match=words) as refused:
            move_by_hand(store, lot, typed)
        assert refused.value.faults[0].field == "why"
        move_by_hand(store, lot, typed.but(why="for a colour test, not for sale"))
        assert on_hand(store, lot) == 990
    decide_lot(store, held, DecisionForm("refused", "Per", "peroxide value too high"))
    with pytest.raises(Faults, match="rejected"):
        move_by_hand(store, held, MoveForm(kind="used", amount="10", by="Ines"))
    move_by_hand(store, held, MoveForm(kind="discarded", amount="990", by="Ines"))
    with pytest.raises(Faults, match="Enter why"):
        decide_lot(store, old, DecisionForm("refused", "Per"))


def test_no_more_leaves_a_lot_than_it_holds(store: Store, lot_id: int) -> None:
    with pytest.raises(Faults, match="holds 1000 g by the ledger"):
        move_by_hand(store, lot_id, MoveForm(kind="spilled", amount="1000.1", by="Ines"))
    assert count_by_hand(store, lot_id, CountForm("990.5", "Ines")) == "-9.5 g"
    assert count_by_hand(store, lot_id, CountForm("1,2 kg", "Ines", "two cans were found")) == "+209.5 g"
    move_by_hand(store, lot_id, MoveForm(kind="spilled", amount="1000.1", by="Ines"), key="k")
    move_by_hand(store, lot_id, MoveForm(kind="spilled", amount="1000.1", by="Ines"), key="k")
    assert on_hand(store, lot_id) == D("199.9")
    assert check_ledger(store) == (1, [])


def test_the_schema_itself_keeps_the_ledger(store: Store, lot_id: int) -> None:
    changes = (
        "UPDATE stock_move SET amount = 5", "DELETE FROM stock_move", "UPDATE lot_event SET what = 'x'",
        "DELETE FROM lot_event", "UPDATE lot SET on_hand = -1",
        "INSERT INTO stock_move (lot_id, kind, amount, at, by, why) VALUES (1, 'spilled', -1000000001, 'x', '', '')",
    )  # fmt: skip
    for change in changes:
        with pytest.raises(DBAPIError, match=r"kept as it is|on_hand_not_negative"), store.transaction() as session:
            session.execute(text(change))
    assert on_hand(store, lot_id) == 1000


def test_a_wrong_amount_on_hand_is_reported_and_rebuilt(store: Store, lot_id: int, oil: int) -> None:
    receive(store, delivery("3 g"), material_id=oil)
    with store.transaction() as session:
        session.execute(update(Lot).where(Lot.id == lot_id).values(on_hand=D("999.999999")))
    count, faults = check_ledger(store)
    assert (count, [(f.lot_id, f.on_hand, f.by_the_ledger) for f in faults]) == (
        2,
        [(lot_id, D("999.999999"), D(1000))],
    )
    assert rebuild_on_hand(store) == 1
    assert check_ledger(store) == (2, [])


def test_what_expires_first_is_offered_first_and_what_may_not_be_used_last(store: Store, oil: int) -> None:
    soon, later = (today() + timedelta(days=n) for n in (10, 400))
    made = {
        "later": delivery(expires_on=later.isoformat()),
        "no date": delivery(),
        "held": delivery(expires_on=soon.isoformat(), accepted=""),
        "expired": delivery(received_on="2020-01-02", expires_on="2021-01-01"),
        "soon": delivery(retest_on=soon.isoformat()),
    }
    ids = {receive(store, form, material_id=oil): name for name, form in made.items()}
    with store.reading() as session:
        order = [ids[lot.id] for lot in listing.lots_of(session, material_ids=[oil])]
        row = next(row for row in listing.stock_rows(session) if row.material_id == oil)
        seen = listing.attention(session)
    assert order == ["soon", "later", "no date", "expired", "held"]
    assert (row.usable, row.held, row.spent, row.lots, row.first_due) == (
        D(3000),
        D(1000),
        D(1000),
        5,
        date(2021, 1, 1),
    )
    assert (seen.soon, seen.expired, seen.held, seen.low) == (1, 1, 1, 0)


def test_what_open_batches_need_is_reserved_and_low_stock_is_seen(store: Store, gel: Any) -> None:
    glycerin = gel.materials["glycerin"]
    receive(store, delivery("10 g"), material_id=glycerin)
    with store.reading() as session:
        row = next(row for row in listing.stock_rows(session) if row.material_id == glycerin)
        assert (row.usable, row.reserved, row.is_low) == (D(10), D(15), True)
        assert glycerin in {row.material_id for row in listing.stock_rows(session, show=listing.LOW)}
    receive(store, delivery("90 g"), material_id=glycerin)
    with store.reading() as session:
        row = next(row for row in listing.stock_rows(session) if row.material_id == glycerin)
        assert (row.free, row.is_low) == (D(85), False)


def line_of(session: Any, gel: Any, word: str) -> BatchLine:
    asked = select(BatchLine).where(BatchLine.batch_id == gel.batch_id, BatchLine.material_id == gel.materials[word])
    return session.scalars(asked).one()  # type: ignore[no-any-return]


def test_the_ledger_follows_what_the_record_of_a_batch_says(store: Store, gel: Any) -> None:
    first, second = (receive(store, delivery("10 g"), material_id=gel.materials["glycerin"]) for _ in range(2))

    def follow(grams: dict[int, str]) -> list[str]:
        with store.transaction() as session:
            typed = {lot: D(weight) for lot, weight in grams.items()}
            return [one.words for one in follow_line(session, line_of(session, gel, "glycerin"), typed, by="I")]

    assert follow({first: "10", second: "5.02"}) == []
    assert (on_hand(store, first), on_hand(store, second)) == (D(0), D("4.98"))
    assert follow({first: "10", second: "5.02"}) == []
    assert follow({first: "9"}) == []
    assert (on_hand(store, first), on_hand(store, second)) == (D(1), D(10))
    assert follow({first: "12.5"}) == ["lot 26-306-1 held 2.5 g less by the ledger than was weighed out"]
    assert on_hand(store, first) == 0
    assert follow({}) == []
    assert on_hand(store, first) == 10
    assert check_ledger(store)[1] == []


def test_what_a_batch_made_is_a_lot_of_its_own_or_of_a_material(store: Store, gel: Any) -> None:
    form = OutputForm(amount="480 g", by="Ines", received_on="2026-11-25")
    bulk = receive_output(store, gel.batch_id, form)
    stock = receive_output(store, gel.batch_id, form.but(amount="20 g"), material_id=gel.materials["alkali"])
    with store.reading() as session:
        assert session.get_one(Lot, bulk).name.startswith("Bulk of batch BG-2026-")
        assert session.get_one(Lot, stock).name == "Sodium hydroxide 10 %"
        assert [move.kind.value for move in session.get_one(Lot, stock).moves] == ["made"]


def test_water_of_the_house_is_one_lot_a_day(store: Store, gel: Any) -> None:
    with store.transaction() as session:
        water = session.get_one(MaterialRow, gel.materials["water"])
        lots = {house_lot(session, water, by="Ines").id for _ in range(2)}
        (lot,) = (session.get_one(Lot, one) for one in lots)
        assert (lot.code, lot.state) == (f"Water, purified {today().isoformat()}", LotState.ACCEPTED)


ROUNDS = 25


def test_two_programs_taking_from_one_lot_lose_and_double_nothing(store: Store, lot_id: int) -> None:
    """ROUNDS times two programs take 21 g each at the same moment, more than the lot of 1000 g holds."""
    with two(store) as (one, other):

        def taking(program: Store) -> Callable[[], object]:
            return lambda: move_by_hand(program, lot_id, MoveForm(kind="used", amount="21 g", by="Ines"))

        answers = [answer for _ in range(ROUNDS) for answer in at_once(taking(one), taking(other))]
    taken = sum(answer is None for answer in answers)
    assert taken == 47
    assert all(isinstance(answer, Faults) for answer in answers if answer is not None)
    assert on_hand(store, lot_id) == 1000 - 47 * 21
    with store.reading() as session:
        assert session.scalar(select(func.count(StockMove.id)).where(StockMove.kind == MoveKind.USED)) == taken
    assert check_ledger(store)[1] == []


def test_two_deliveries_at_once_get_two_codes(store: Store, oil: int) -> None:
    with two(store) as (one, other):
        at_once(lambda: receive(one, delivery(), material_id=oil), lambda: receive(other, delivery(), material_id=oil))
    with store.reading() as session:
        assert sorted(session.scalars(select(Lot.code))) == ["26-306-1", "26-306-2"]


AMOUNTS = st.decimals("0.000001", "500", places=6)


@pytest.mark.sqlite
def test_whatever_happens_on_hand_is_the_ledger_and_never_below_zero(  # noqa: C901 - a machine and its rules
    store: Store, oil: int
) -> None:
    """A model of two lots beside the real ones: every sum agrees after every step."""

    class Ledger(RuleBasedStateMachine):
        @initialize()
        def lots(self) -> None:
            self.model = {receive(store, delivery("100 g"), material_id=oil): D(100) for _ in range(2)}

        @rule(which=st.integers(0, 1), amount=AMOUNTS, kind=st.sampled_from([MoveKind.USED, MoveKind.SPILLED]))
        def take_some(self, which: int, amount: Decimal, kind: MoveKind) -> None:
            lot_id = sorted(self.model)[which]
            enough = amount <= self.model[lot_id]
            try:
                with store.transaction() as session:
                    take(session, session.get_one(Lot, lot_id), amount, kind, by="x")
            except Invalid:
                assert not enough
            else:
                assert enough
                self.model[lot_id] -= amount

        @rule(which=st.integers(0, 1), amount=AMOUNTS)
        def put_back(self, which: int, amount: Decimal) -> None:
            lot_id = sorted(self.model)[which]
            with store.transaction() as session:
                move(session, session.get_one(Lot, lot_id), MoveKind.RETURNED, amount, by="x")
            self.model[lot_id] += amount

        @rule(which=st.integers(0, 1), amount=AMOUNTS)
        def count(self, which: int, amount: Decimal) -> None:
            lot_id = sorted(self.model)[which]
            with store.transaction() as session:
                count_lot(session, session.get_one(Lot, lot_id), amount, by="x")
            self.model[lot_id] = amount

        @invariant()
        def agrees(self) -> None:
            if hasattr(self, "model"):
                with store.reading() as session:
                    found = {lot_id: session.get_one(Lot, lot_id).on_hand for lot_id in self.model}
                assert found == self.model
                assert all(amount >= 0 for amount in found.values())
                assert check_ledger(store)[1] == []

    checks = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
    run_state_machine_as_test(
        Ledger, settings=settings(max_examples=12, stateful_step_count=12, deadline=None, suppress_health_check=checks)
    )


def weigh(store: Store, gel: Any, grams: str, lot: str, word: str = "glycerin", **more: str) -> None:
    with store.reading() as session:
        line = line_of(session, gel, word)
        seen = load_batch(session, gel.batch_id).row_version
    record_weighings(store, gel.batch_id, seen, [WeighingForm(line.id, grams, lot, **more)], who="Ines")


def test_a_weighing_from_a_lot_of_ours_is_weighed_out_and_a_correction_puts_it_right(store: Store, gel: Any) -> None:
    glycerin = gel.materials["glycerin"]
    first, second = (receive(store, delivery("1 kg"), material_id=glycerin) for _ in range(2))
    weigh(store, gel, "10", "26-306-1")
    weigh(store, gel, "5.02", "26-306-2")
    assert (on_hand(store, first), on_hand(store, second)) == (D(990), D("994.98"))
    with store.reading() as session:
        weighing = line_of(session, gel, "glycerin").standing[0]
    typed = WeightCorrection("9.5", "26-306-2", "Per", "another can")
    correct_weighing(store, gel.batch_id, weighing.id, typed)
    assert (on_hand(store, first), on_hand(store, second)) == (D(1000), D("985.48"))
    with store.reading() as session:
        assert {move.batch_id for move in session.get_one(Lot, second).moves[1:]} == {gel.batch_id}
    assert check_ledger(store)[1] == []


def test_a_lot_that_may_not_be_used_asks_for_a_reason_which_the_record_keeps(store: Store, gel: Any) -> None:
    receive(store, delivery("1 kg", accepted=""), material_id=gel.materials["glycerin"])
    for lot, words in (("26-306-1", "is in quarantine"), ("26-306-1:  ", "enter why after it")):
        with pytest.raises(Faults, match=words) as refused:
            weigh(store, gel, "15", lot)
        assert refused.value.faults[0].field.startswith("lot-")
    weigh(store, gel, "15", "26-306-1: for a test")
    with store.reading() as session:
        batch = load_batch(session, gel.batch_id)
        said = [(event.what, event.new, event.why) for event in batch.history]
        assert ("Glycerin, vegetable: lot", "lot 26-306-1 is in quarantine", "for a test") in said
        assert line_of(session, gel, "glycerin").standing[0].lot_text == "26-306-1"
        noted = [(one.what, one.decided_at) for one in batch.deviations]
        assert noted == [("Glycerin, vegetable: lot 26-306-1 is in quarantine, used all the same (for a test).", None)]


def open_words(store: Store, gel: Any) -> list[str]:
    with store.reading() as session:
        return [one.what for one in still_open(session, load_batch(session, gel.batch_id)) if "lot" in one.what]


def test_a_lot_the_shelf_does_not_know_is_a_deviation_where_lots_of_the_material_are_kept(
    store: Store, gel: Any
) -> None:
    weigh(store, gel, "5", "their can")
    weigh(store, gel, "470", "tap", "water")
    assert open_words(store, gel) == []  # no lot is kept of either
    receive(store, delivery("20 g"), material_id=gel.materials["glycerin"])
    weigh(store, gel, "5", "26-306-1")
    said = "Glycerin, vegetable: lot their can is not on the shelf, used all the same."
    assert open_words(store, gel) == [said]
    with store.reading() as session:
        (asked,) = [one for one in still_open(session, load_batch(session, gel.batch_id)) if one.what == said]
    why = DeviationForm(asked.key, "", "label lost", "none", "can thrown away", "Per", "yes")
    record_deviation(store, gel.batch_id, why)
    assert open_words(store, gel) == []
    with pytest.raises(Faults, match="Lot another can is not on the shelf"):
        weigh(store, gel, "1", "another can")
    weigh(store, gel, "1", "another can: it came without papers")
    said = "Glycerin, vegetable: lot another can is not on the shelf, used all the same (it came without papers)."
    assert open_words(store, gel) == [said]
    with store.reading() as session:
        line = line_of(session, gel, "glycerin")
        weighed = line.standing[-1]
        assert (weighed.lot_text, weighed.reason) == ("another can", "it came without papers")
        batch_id, weighing_id = line.batch_id, weighed.id
    # The lot stands as it was weighed: another weight of it needs no reason but that of the correction.
    correct_weighing(store, batch_id, weighing_id, WeightCorrection("2", "another can", "Per", "misread"))
    with store.reading() as session:
        last = line_of(session, gel, "glycerin").standing[-1].id
    with pytest.raises(Faults, match="Lot third can is not on the shelf"):
        correct_weighing(store, batch_id, last, WeightCorrection("2", "third can", "Per", "misread"))


def test_a_lot_noted_with_its_reason_keeps_it_when_the_weight_follows(store: Store, gel: Any) -> None:
    receive(store, delivery("20 g"), material_id=gel.materials["glycerin"])
    weigh(store, gel, "", "their can: a trial")
    weigh(store, gel, "5", "")
    assert open_words(store, gel) == [
        "Glycerin, vegetable: lot their can is not on the shelf, used all the same (a trial)."
    ]


def test_a_lot_that_holds_nothing_is_a_deviation_and_one_that_holds_too_little_is_not(store: Store, gel: Any) -> None:
    receive(store, delivery("8 g"), material_id=gel.materials["glycerin"])
    weigh(store, gel, "10", "26-306-1")
    assert open_words(store, gel) == []
    weigh(store, gel, "5", "26-306-1")
    held = "held 5 g less by the ledger than was weighed out, used all the same."
    assert open_words(store, gel) == [f"Glycerin, vegetable: lot 26-306-1 {held}"]


def test_a_lot_of_another_material_is_refused_and_other_words_stay_words(store: Store, gel: Any) -> None:
    receive(store, delivery("1 kg"), material_id=gel.materials["carbomer"])
    with pytest.raises(Faults, match="is of Carbomer powder"):
        weigh(store, gel, "15", "26-306-1")
    weigh(store, gel, "15", "their lot 4711")
    with store.reading() as session:
        weighing = line_of(session, gel, "glycerin").standing[0]
        assert (weighing.lot_id, weighing.lot_text) == (None, "their lot 4711")


def test_water_that_is_drawn_here_gets_the_lot_of_the_day_by_itself(store: Store, gel: Any) -> None:
    with store.transaction() as session:
        session.get_one(MaterialRow, gel.materials["water"]).drawn_here = True
    weigh(store, gel, "470", "", "water")
    with store.reading() as session:
        (lot,) = session.scalars(select(Lot)).all()
        assert (lot.code, lot.on_hand) == (f"Water, purified {today().isoformat()}", D(0))
        assert [(move.kind.value, move.amount) for move in lot.moves] == [
            ("received", D(470)),
            ("weighed out", D(-470)),
        ]
        assert line_of(session, gel, "water").standing[0].lot_id == lot.id


def test_the_batch_offers_lots_in_the_order_to_use_them(store: Store, gel: Any) -> None:
    with store.reading() as session:
        assert offered_lots(session, load_batch(session, gel.batch_id)) is None
    receive(store, delivery("10 g"), material_id=gel.materials["glycerin"])
    receive(store, delivery("2 g", expires_on="2030-01-01"), material_id=gel.materials["glycerin"])
    with store.reading() as session:
        offered = offered_lots(session, load_batch(session, gel.batch_id)) or ()
    (line,) = [line for line in offered if line.lots]
    assert ([lot.code for lot in line.lots], line.is_short) == (["26-306-2", "26-306-1"], True)
    assert not replace(line, needed_g=D(12)).is_short
    assert replace(line, needed_g=D(12), lots=tuple(replace(lot, against="expired") for lot in line.lots)).is_short


def test_what_the_certificate_of_a_lot_says_goes_before_the_material_in_the_batch_as_made(
    store: Store, gel: Any
) -> None:
    """475 g of water and 10 g + 5 g of two lots: glycerin 99.5 % in one by its certificate, 100 % in the other."""
    glycerin = gel.materials["glycerin"]
    for _ in range(2):
        receive(store, delivery("1 kg"), material_id=glycerin)
    with store.reading() as session:
        lot = session.get_one(Lot, 1)
        form, seen = composition_form(lot, "Per"), lot.row_version
        assert form.text["parts"][0].text["inci"] == "Glycerin"
    rows = (PartForm("Glycerin", "99.5", "56-81-5"), PartForm("Aqua", "0.5"))
    set_composition(store, 1, form.but(parts=rows), seen)
    weigh(store, gel, "475", "", "water")
    weigh(store, gel, "10", "26-306-1")
    weigh(store, gel, "5", "26-306-2")
    with store.reading() as session:
        made = made_formula(session, load_batch(session, gel.batch_id))
        history = session.get_one(Lot, 1).history[-1]
    assert made is not None
    (line,) = [line for line in made.lines if line.material.id == glycerin]
    totals = {name: sum(p.percent for p in line.parts if p.inci == name) for name in ("Glycerin", "Aqua")}
    assert totals["Glycerin"].quantize(D("0.0001")) == D("99.6667")
    assert totals["Aqua"].quantize(D("0.0001")) == D("0.3333")
    assert (history.what, history.old, history.by) == ("composition", "as the material", "Per")


def test_a_composition_of_a_lot_is_checked_and_taken_back_by_emptying_it(store: Store, lot_id: int) -> None:
    with store.reading() as session:
        lot = session.get_one(Lot, lot_id)
        form, seen = composition_form(lot, "Per"), lot.row_version
    rows = (PartForm("Mel", "60"), PartForm("Parfum", "41", kind="perfume", allergens="Linallol 1"))
    with pytest.raises(Faults, match="Linallol"):
        set_composition(store, lot_id, form.but(parts=rows), seen)
    set_composition(store, lot_id, form.but(parts=(PartForm("Mel", "60"),)), seen)
    with store.reading() as session:
        lot = session.get_one(Lot, lot_id)
        assert [(part.inci, part.percent) for part in lot_parts(lot)] == [("Mel", D(60))]
        seen = lot.row_version
    set_composition(store, lot_id, form.but(parts=()), seen)
    with store.reading() as session:
        assert lot_parts(session.get_one(Lot, lot_id)) == ()


def test_a_slip_of_the_pen_that_is_corrected_leaves_no_more_on_hand_than_there_was(store: Store, gel: Any) -> None:
    lot = receive(store, delivery("8 g"), material_id=gel.materials["glycerin"])
    weigh(store, gel, "10", "26-306-1")
    with store.reading() as session:
        line = line_of(session, gel, "glycerin")
        batch_id, weighing_id = line.batch_id, line.standing[0].id
    correct_weighing(store, batch_id, weighing_id, WeightCorrection("5", "26-306-1", "Per", "misread"))
    with store.reading() as session:
        # 8 g came, 5 g were taken; the 2 g that the ledger lacked for 10 g never were.
        assert session.get_one(Lot, lot).on_hand == 3
    assert check_ledger(store)[1] == []


def test_water_drawn_for_a_slip_of_the_pen_was_never_drawn(store: Store, gel: Any) -> None:
    with store.transaction() as session:
        session.get_one(MaterialRow, gel.materials["water"]).drawn_here = True
    weigh(store, gel, "490", "", "water")
    with store.reading() as session:
        line = line_of(session, gel, "water")
        batch_id, weighing = line.batch_id, line.standing[0]
    correct_weighing(store, batch_id, weighing.id, WeightCorrection("470", weighing.lot_text, "Per", "misread"))
    with store.reading() as session:
        (lot,) = session.scalars(select(Lot)).all()
        assert lot.on_hand == 0
        assert received_amounts(session) == {lot.id: D(470)}
    assert check_ledger(store)[1] == []
