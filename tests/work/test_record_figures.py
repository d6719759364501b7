"""Figures of a record worked out by hand, on records that were never stored: a batch, its packing, what it cost."""

from datetime import UTC, date, datetime
from decimal import Decimal as D
from typing import Any

import pytest

from app.science.actual_cost import Spent, with_overhead
from app.science.cost import Amounts
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.specification import Check
from app.science.tolerance import Band
from app.store.batches import Batch, BatchLine, BatchReading, BatchState, BatchWeighing, Heating
from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.packing import Clearance, FillWeight, PackingLotUse, PackingRun, PackingTick, RunState
from app.store.products import Product
from app.store.stock import Lot
from app.store.workshop import CostBy
from app.work.batches.deviations import _yield
from app.work.batches.heating import refuse_loss
from app.work.batches.record import BatchRecord, CheckRecord, LineRecord, line_record
from app.work.batches.rescuing import LineToAdd
from app.work.form import Faults, Form
from app.work.packing import deviations
from app.work.packing.actual_cost import BatchCost, RunCost, _Ledger, _of_piece
from app.work.packing.deviations import _clearance, reconciliation
from app.work.packing.fills import CorrectFillForm, FillForm, fills_of, usual_fill_g
from app.work.packing.finished import FinishedRow
from app.work.packing.packaging_lots import PackagingPiece, form_of
from app.work.packing.runs import FiguresForm, Packable, nominal_g
from app.work.pricing import Exchange, PriceBook

NOON = datetime(2026, 11, 3, 12, tzinfo=UTC)


def line(weighed: tuple[str | None, ...] = (), lost: str | None = None, **more: Any) -> BatchLine:
    """A line of 100 g with its weighings, and what was lost of it in one heating."""
    weighings = [
        BatchWeighing(id=n, grams=None if g is None else D(g), by="Ines", at=NOON, reason="", lot_text="")
        for n, g in enumerate(weighed, 1)
    ]
    given: dict[str, Any] = {"shown_g": D(100), "step_g": D("0.1"), "low_g": D(98), "high_g": D(102), "phase": "A"}
    found = BatchLine(weighings=weighings, **{"added_at_bench": False} | given | more)
    if lost is not None:
        found.heatings.append(Heating(id=1, before_g=D(500), after_g=D(500) - D(lost)))
    return found


BAND = Band(D(98), D(102))


@pytest.mark.parametrize(
    ("weighed", "lost", "difference", "outside"),
    [
        ((), None, None, False),
        ((None,), None, None, False),
        (("98",), None, "-2", False),
        (("97.9",), None, "-2.1", True),
        (("60", "42"), None, "2", False),
        (("60", "42.1"), None, "2.1", True),
        (("105",), "4", "1", False),
        (("100",), "2.5", "-2.5", True),
    ],
)
def test_a_line_shows_what_it_holds_against_its_plan_and_band(
    weighed: tuple[str | None, ...], lost: str | None, difference: str | None, outside: bool
) -> None:
    found = LineRecord(line(weighed, lost), BAND, ())
    assert found.difference_g == (None if difference is None else D(difference))
    assert found.is_outside is outside
    assert LineRecord(line(weighed, lost), None, ()).is_outside is False


def test_what_came_in_at_the_bench_differs_from_no_plan_and_a_correction_keeps_what_it_replaced() -> None:
    assert LineRecord(line(("5",), added_at_bench=True), BAND, ()).difference_g is None
    wrong = line(("10", "12"))
    wrong.weighings[1].replaces_id, wrong.weighings[1].reason = 1, "read badly"
    found = line_record(wrong)
    assert [(one.grams, why) for one, why in found.corrected] == [(D(10), "read badly")]
    assert found.difference_g == -88
    assert line_record(line(("10", "12"))).corrected == ()


def test_a_check_is_inside_only_once_it_was_read() -> None:
    check = Check("pH", D("5.5"), D("6.5"))
    inside, outside = BatchReading(value=D("6.5")), BatchReading(value=D("6.51"))
    assert CheckRecord(check, inside).is_inside
    assert not CheckRecord(check, outside).is_inside
    assert not CheckRecord(check, None).is_inside


def test_what_was_planned_is_the_sum_of_its_lines() -> None:
    batch = Batch(lines=[line(), line(shown_g=D("50.5"))])
    record = BatchRecord(batch, None, (), (), (), (), None, None, (), (), False, "", (), False)  # type: ignore[arg-type]
    assert record.planned_g == D("150.5")


@pytest.mark.parametrize(("on_hand", "short"), [(None, False), ("9.9", True), ("10", False)])
def test_a_line_of_a_rescue_is_short_where_less_is_on_hand_than_it_needs(on_hand: str | None, short: bool) -> None:
    assert LineToAdd("a", D(10), D(110), None if on_hand is None else D(on_hand)).is_short is short


@pytest.mark.parametrize(
    ("actual", "earlier", "before", "after", "refused"),
    [
        ((), "0", "500", "400", ""),  # 100 g planned may all go
        ((), "0", "500", "399.9", "100.1 g less, more than the water"),
        (("120",), "0", "500", "380", ""),
        (("120",), "0", "500", "379.9", "more than the water"),
        (("80",), "0", "500", "400", ""),
        ((), "30", "500", "430", ""),
        ((), "30", "500", "429.9", "more than the water"),
        ((), "0", "500", "500", ""),
        ((), "0", "500", "500.1", "cannot have gained"),
    ],
)
def test_a_pot_loses_no_more_than_its_water(
    actual: tuple[str, ...], earlier: str, before: str, after: str, refused: str
) -> None:
    water = line(actual, earlier if earlier != "0" else None)
    row = Heating(id=2, before_g=D(before))
    water.heatings.append(row)
    if not refused:
        refuse_loss(row, D(before), D(after), "after")
        return
    with pytest.raises(Invalid, match=refused) as wrong:
        refuse_loss(row, D(before), D(after), "after")
    assert wrong.value.field == "after"


@pytest.mark.parametrize(
    ("grams", "said"),
    [
        (None, [("no yield", "The yield is not recorded.")]),
        ("90", []),
        ("99", []),
        ("89.96", [("yield 89.96", "Yield 90 % of what was weighed in, 90 to 99 % usual.")]),
        ("85.26", [("yield 85.26", "Yield 85.3 % of what was weighed in, 90 to 99 % usual.")]),
    ],
)
def test_a_yield_outside_the_usual_is_said_with_the_value_that_is_decided_on(
    grams: str | None, said: list[tuple[str, str]]
) -> None:
    made = Batch(
        lines=[line(("60", "40"))], yield_g=None if grams is None else D(grams), yield_low_percent=D(90),
        yield_high_percent=D(99),
    )  # fmt: skip
    assert list(_yield(made)) == said


# Packing


def run(weights: tuple[str, ...] = (), unit: str = "g", amount: str = "60", **more: Any) -> PackingRun:
    given: dict[str, Any] = {
        "fill_amount": D(amount), "fill_unit": unit, "density_g_ml": None, "jurisdiction": Jurisdiction.EU,
        "units_filled": 0, "units_spoilt": 0, "units_sampled": 0, "bulk_g": None, "rest_g": None, "waste_g": None,
        "state": RunState.OPEN, "ticks": [],
    } | more  # fmt: skip
    return PackingRun(weights=[FillWeight(id=n, n=n, grams=D(g)) for n, g in enumerate(weights, 1)], **given)


def test_fills_by_weight_are_judged_as_they_are_and_their_mean_is_in_grams() -> None:
    """76/211/EEC: 60 g may lack 4.5 g, and twice that not at all."""
    found = fills_of(run(("60", "61", "59")))
    assert (found.unit, found.values, found.mean, found.mean_g) == ("g", found.grams, 60, 60)
    assert (found.tolerance, found.limits, found.why_not) == (D("4.5"), (D("55.5"), D(51)), "")
    assert found.judged is not None
    assert found.judged.passes
    judged = fills_of(run(("60", "50.9", "75"))).judged
    assert judged is not None
    assert not judged.passes


def test_fills_of_a_volume_are_worked_out_by_density_and_without_one_not_at_all() -> None:
    """By hand: 48 g at 0.96 g/ml are 50 ml, of which 9 % may be lacking."""
    found = fills_of(run(("48", "48.96"), "ml", "50", density_g_ml=D("0.96")))
    assert (found.unit, found.values, found.mean) == ("ml", (D(50), D(51)), D("50.5"))
    assert (found.mean_g, found.limits) == (D("48.48"), (D("45.5"), D(41)))
    blind = fills_of(run(("48",), "ml", "50"))
    assert (blind.values, blind.mean, blind.judged) == ((), None, None)
    assert blind.why_not.startswith("The content is a volume and the formula has no density")
    assert (nominal_g(run((), "ml", "50")), nominal_g(run((), "ml", "50", density_g_ml=D("0.96")))) == (None, 48)
    assert nominal_g(run()) == 60


def test_what_cannot_be_judged_says_why() -> None:
    assert fills_of(run()).why_not == "No fill weight is recorded."
    us = fills_of(run(("48",), "ml", "50", density_g_ml=D(1), jurisdiction=Jurisdiction.US))
    assert (us.tolerance, us.limits) == (None, ())
    assert "NIST Handbook 133, table 2-6" in us.why_not
    one = fills_of(run(("60",), jurisdiction=Jurisdiction.US))
    assert (one.limits, one.why_not) == ((D("54.6"),), "")  # 5.4 g at 60 g, once
    huge = fills_of(run(("20000",), amount="20000"))
    assert huge.why_not == "No shipped table holds a tolerance for this content."


def test_the_fill_to_reckon_with_is_what_was_weighed_else_what_is_declared() -> None:
    weighed, bare = run(("61", "62")), run()
    assert (usual_fill_g(weighed, fills_of(weighed)), usual_fill_g(bare, fills_of(bare))) == (D("61.5"), 60)


BULK = {"bulk_g": D(1300), "rest_g": D(31), "waste_g": D(9), "units_filled": 20}


@pytest.mark.parametrize("lacking", ["bulk_g", "rest_g", "waste_g", "units_filled"])
def test_the_bulk_is_reconciled_once_everything_of_it_is_written(lacking: str) -> None:
    """By hand: 20 units of 61 g, 31 g back and 9 g of waste are 1260 of 1300 g, which is 96.9 %."""
    found = reconciliation(run(("61",), **BULK))
    assert found is not None
    assert (found.accounted_g, round(found.percent, 1)) == (1260, D("96.9"))
    assert reconciliation(run(("61",), **BULK | {lacking: 0 if lacking == "units_filled" else None})) is None
    nothing_left = reconciliation(run(("61",), **BULK | {"rest_g": D(0), "waste_g": D(0)}))
    assert nothing_left is not None
    assert nothing_left.accounted_g == 1220


def test_points_that_are_not_ticked_are_counted_by_their_time() -> None:
    ticks = [
        PackingTick(kind=kind, position=n, words="x", done_at=done)
        for n, (kind, done) in enumerate(
            [(Clearance.BEFORE, None), (Clearance.BEFORE, NOON), (Clearance.AFTER, None), (Clearance.AFTER, None)], 1
        )
    ]
    assert list(_clearance(run(ticks=ticks))) == [
        ("clearance before 1", "1 point not ticked before packing."),
        ("clearance after 2", "2 points not ticked after packing."),
    ]


FIGURES = [
    ({"units_filled": "20", "units_spoilt": "20"}, ""), ({"units_filled": "20", "units_spoilt": "21"}, "units_spoilt"),
    ({"units_filled": "20", "bulk": "0 g"}, "bulk"), ({"units_filled": "20", "bulk": "1 g"}, ""),
    ({"units_filled": "20", "rest": "0 g"}, ""),
]  # fmt: skip
WEIGHTS = [
    ("60 61", "", ""), ("60 61", "59.9", ""), ("60 61", "60", "tare"), ("61 60", "60.5", "tare"), ("", "", "weights"),
    ("60 0", "", "weights"), ("60 g 61 g", "", ""), ("60 " * 500, "", ""), ("60 " * 501, "", "weights"),
]  # fmt: skip
CORRECTIONS = [("", ""), ("0", "grams"), ("0.1", "")]


def test_what_is_typed_of_a_run_agrees_in_itself(store: Store) -> None:
    """No more spoilt than filled, some bulk, filled units heavier than empty ones, and at most 500 at a time."""
    forms: list[tuple[Form, str]] = [(FiguresForm(**texts), field) for texts, field in FIGURES]
    forms += [(FillForm(weights=weights, tare=tare), field) for weights, tare, field in WEIGHTS]
    forms += [(CorrectFillForm(grams=grams, reason="x"), field) for grams, field in CORRECTIONS]
    with store.reading() as session:
        for form, field in forms:
            with pytest.raises(Faults) as wrong:  # nobody signed any of them
                form.checked(session)
            assert set(wrong.value.by_field) - {"who"} == ({field} if field else set()), form.text


def test_units_on_hand_are_what_was_packed_with_what_moved() -> None:
    def row(packed: int, until: date | None) -> FinishedRow:
        return FinishedRow(1, "Cream", 1, "HC-1", packed, {"sent out": -12, "came back": 2}, until, date(2026, 1, 1))

    day = date(2026, 11, 3)
    assert row(20, None).on_hand == 10
    assert [row(20, until).is_past(day) for until in (None, day, date(2026, 11, 2))] == [False, False, True]
    assert not row(10, date(2026, 11, 2)).is_past(day)  # nothing is left of it


def test_a_batch_is_packed_early_while_it_is_not_released() -> None:
    states = {state: Packable(Batch(state=state), (Product(),), None).is_early for state in BatchState}
    assert [state for state, early in states.items() if not early] == [BatchState.RELEASED]


# What it cost


def cost(materials: list[Spent], amounts: Amounts, runs: tuple[RunCost, ...] = ()) -> BatchCost:
    return BatchCost(None, tuple(materials), amounts, None, runs, "EUR", 2)  # type: ignore[arg-type]


def test_every_column_of_a_cost_adds_up_as_it_is_printed() -> None:
    """By hand: 1.005, 0.005, 2.004 and 18 % of them, 0.54252, are 3.55652; no rounded part is off by a whole cent."""
    jar = Spent("Jar", "J", D(2), "pieces", D("0.005"), "")
    oil, salt = Spent("Oil", "O", D(10), "g", D("1.005"), ""), Spent("Salt", "", D(1), "g", None, "")
    amounts = with_overhead(D("1.005"), D("0.005"), D("2.004"), D(18))
    packed = RunCost("HC-1-P1", "Cream", 2, (jar,), amounts, None)
    found = cost([oil, salt], amounts, (packed,))
    assert [(words, least) for words, _, least in found.columns] == [
        ("Batch as made", True), ("Unit as made, HC-1-P1", True),
    ]  # fmt: skip
    batch, unit = (parts for _, parts, _ in found.columns)
    assert (batch[-1], sum(batch[:-1])) == (D("3.56"), D("3.56"))
    assert (unit[-1], sum(unit[:-1])) == (D("1.78"), D("1.78"))  # of two units
    exact = (D("1.005"), D("0.005"), D("2.004"), D("0.54252"))
    assert all(abs(shown - part) < D("0.01") for shown, part in zip(batch, exact, strict=False))
    assert found.unpriced == ("Salt",)
    assert found.packaging == (jar,)
    assert sum(shown or 0 for _, shown in found.material_rows) == batch[0]
    assert [shown for one, shown in found.material_rows if one is salt] == [None]
    assert [shown for _, shown in found.packaging_rows] == [batch[1]]
    whole = cost([oil], amounts)
    assert [least for *_, least in whole.columns] == [False]
    none_made = cost([oil], amounts, (RunCost("P2", "Cream", 0, (jar,), amounts, None),))
    assert len(none_made.columns) == 1  # a run of no good unit has no cost of a unit


def priced(amount: str, pieces: str) -> list[PriceRow]:
    return [
        PriceRow(amount=D(amount), quantity_g=D(pieces), currency="", priced_on=date(2026, 1, 1), kind=PriceKind.PAID)
    ]


def test_a_lot_costs_what_was_paid_for_it_else_what_its_thing_costs_by_the_list() -> None:
    """By hand: 3 of the 12 that 6 EUR bought are 1.50; at 2 EUR for 10 g 0.60, at 5 for 100 pieces 0.15."""
    oil = MaterialRow(id=1, name="Oil", prices=priced("2", "10"))
    jar = PackagingRow(id=1, name="Jar", prices=priced("5", "100"))
    book = PriceBook(Exchange("EUR"), CostBy.LAST, {})
    ledger = _Ledger(None, book, {1: D(12), 2: D(0)})  # type: ignore[arg-type]

    def lot(number: int, **more: Any) -> Lot:
        return Lot(id=number, received_on=date(2026, 2, 1), **{"currency": "", "paid": None} | more)

    def cost_of(one: Lot) -> tuple[D | None, str]:
        return ledger.cost(one, D(3), 0)

    assert cost_of(lot(1, paid=D(6), material=oil)) == (D("1.5"), "paid for the lot")
    assert cost_of(lot(1, paid=D(0), material=oil)) == (0, "paid for the lot")
    assert cost_of(lot(1, material=oil)) == (D("0.6"), "price list")
    assert cost_of(lot(2, paid=D(6), material=oil)) == (D("0.6"), "price list")  # nothing came of it
    assert cost_of(lot(3, paid=D(6), material=oil)) == (D("0.6"), "price list")
    assert cost_of(lot(1, paid=D(6), currency="USD", material=oil)) == (D("0.6"), "price list")  # no rate is known
    assert cost_of(lot(1, packaging=jar)) == (D("0.15"), "price list")
    assert cost_of(lot(1)) == (None, "no price")
    assert ledger.listed(MaterialRow(id=2, prices=[]), D(3)) == (None, "no price")


@pytest.mark.parametrize(
    ("uses", "filled", "expected"),
    [
        ([("20", "1", "25", "4")], 20, [("21", "J1")]),  # what was used and spoilt
        ([("0", "0", "25", "4")], 20, [("21", "J1")]),  # not written: what was issued and did not come back
        ([("0", "2", "25", "4")], 20, [("2", "J1")]),
        ([("5", "0", "5", "0"), ("15", "0", "15", "0")], 20, [("5", "J1"), ("15", "J2")]),
        ([], 20, [("40", "")]),  # two a unit, by the plan
        ([], 0, []),
    ],
)
def test_packaging_counts_as_it_was_used_else_as_it_was_issued_else_as_planned(
    uses: list[tuple[str, ...]], filled: int, expected: list[tuple[str, str]]
) -> None:
    jar = PackagingRow(id=1, name="Jar", prices=priced("5", "100"))

    class Session:
        @staticmethod
        def get(_kind: object, _number: int) -> PackagingRow:
            return jar

    lots = [Lot(id=n, code=f"J{n}", packaging=jar, currency="", received_on=date(2026, 1, 1)) for n in (1, 2)]
    taken = tuple(
        PackingLotUse(lot=lot, used=D(used), spoilt=D(spoilt), issued=D(issued), returned=D(returned))
        for lot, (used, spoilt, issued, returned) in zip(lots, uses, strict=False)
    )
    ledger = _Ledger(Session(), PriceBook(Exchange("EUR"), CostBy.LAST, {}), {})  # type: ignore[arg-type]
    found = list(_of_piece(ledger, run(units_filled=filled), PackagingPiece(1, "Jar", D(2), taken, ())))
    assert [(one.amount, one.lot, one.unit) for one in found] == [(D(n), code, "pieces") for n, code in expected]
    assert [one.cost for one in found] == [D(n) * 5 / 100 for n, _ in expected]


def taken(issued: str, used: str, spoilt: str, returned: str, **more: Any) -> PackingLotUse:
    given: dict[str, Any] = {"lot": Lot(id=1, code="J1", currency="", received_on=date(2026, 1, 1)), "lot_id": 1}
    amounts = {"issued": issued, "used": used, "spoilt": spoilt, "returned": returned}
    return PackingLotUse(**given | {name: D(amount) for name, amount in amounts.items()} | more)


@pytest.mark.parametrize(
    ("use", "used"),
    [
        (taken("20", "18", "1", "1"), "18"),
        (taken("20", "0", "0", "0"), "20"),  # nothing written yet: all of it is proposed
        (taken("20", "0", "1", "0"), "0"),
        (taken("20", "0", "0", "1"), "0"),
    ],
)
def test_what_was_issued_is_proposed_as_used_until_something_is_written(use: PackingLotUse, used: str) -> None:
    assert form_of(use).text["used"] == used
    assert form_of(use).text["issued"] == "20"


PIECES: dict[str, tuple[PackagingPiece, list[str]]] = {
    "all accounted for": (PackagingPiece(1, "Jar", D(1), (taken("21", "19", "1", "1"),), ()), []),
    "as many as good units": (PackagingPiece(1, "Jar", D(1), (taken("19", "19", "0", "0"),), ()), []),
    "as many as units": (PackagingPiece(1, "Jar", D(1), (taken("20", "20", "0", "0"),), ()), []),
    "few": (PackagingPiece(1, "Jar", D(1), (taken("18", "18", "0", "0"),), ()), ["Jar: 18 pieces used for 20 units."]),
    "more": (PackagingPiece(1, "Jar", D(1), (taken("21", "21", "0", "0"),), ()), ["Jar: 21 pieces used for 20 units."]),
    "two a unit": (PackagingPiece(1, "Jar", D(2), (taken("39", "39", "0", "0"),), ()), []),
    "of no unit": (PackagingPiece(1, "Jar", D(0), (taken("3", "3", "0", "0"),), ()), []),
    "some missing": (
        PackagingPiece(1, "Jar", D(1), (taken("23", "20", "1", "1"),), ()),
        ["Lot J1 of Jar: 1 pieces are not accounted for."],
    ),
    "too many": (
        PackagingPiece(1, "Jar", D(1), (taken("20", "20", "1", "0"),), ()),
        ["Lot J1 of Jar: 1 pieces more are accounted for than were issued."],
    ),
    "not written": (
        PackagingPiece(1, "Jar", D(1), (taken("20", "0", "0", "0"),), ()),
        ["Lot J1: it is not written what became of it."],
    ),
    "all brought back": (PackagingPiece(1, "Jar", D(1), (taken("20", "0", "0", "20"),), ()), []),
    "no lot": (PackagingPiece(1, "Jar", D(1), (), ()), ["No lot is written for Jar."]),
}  # fmt: skip


@pytest.mark.parametrize(("piece", "said"), PIECES.values(), ids=PIECES)
def test_packaging_is_accounted_for(piece: PackagingPiece, said: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 20 units one was spoilt, so that 19 to 20 pieces are used where a unit takes one."""
    monkeypatch.setattr(deviations, "pieces_of", lambda _session, _run: (piece,))
    one = run(units_filled=20, units_spoilt=1)
    assert [words for _, words in deviations._packaging(None, one)] == said  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("bulk", "left", "said"),
    [
        (BULK, D(5), []),  # 96.9 % of it, as reconciled above
        (BULK | {"bulk_g": D(1260)}, D(0), []),
        (BULK | {"bulk_g": D(1400)}, D(5), ["90 % of the bulk is accounted for (1260 of 1400 g), 95 to 102 % usual."]),
        (BULK | {"bulk_g": D(1200)}, D(5), ["105 % of the bulk is accounted for (1260 of 1200 g), 95 to 102 % usual."]),
        (
            BULK | {"bulk_g": D(1400), "rest_g": D("31.26")},
            D(5),
            ["90 % of the bulk is accounted for (1260.3 of 1400 g), 95 to 102 % usual."],
        ),
        (BULK | {"rest_g": None}, D(5), ["Bulk taken, left over and waste are not all written."]),
        (BULK, None, ["The yield of batch HC-1 is not recorded."]),
        (BULK, D("-0.1"), ["0.1 g more were taken than batch HC-1 gave."]),
    ],
)
def test_the_bulk_is_accounted_for_within_what_is_usual(
    bulk: dict[str, Any], left: D | None, said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(deviations, "bulk_left", lambda _session, _batch: left)
    usual = {"bulk_low_percent": D(95), "bulk_high_percent": D(102)}
    found = deviations._bulk(None, run(("61",), **usual, batch=Batch(number="HC-1"), **bulk))  # type: ignore[arg-type]
    assert [words for _, words in found] == said


@pytest.mark.parametrize(
    ("weights", "filled", "said"),
    [
        ((), 0, ["No unit is recorded."]),
        ((), 20, ["No fill weight is recorded."]),
        (("60", "61"), 20, []),
        (("58", "59"), 20, ["The fills do not meet the declared content:"]),
    ],
)
def test_units_are_filled_and_weighed(weights: tuple[str, ...], filled: int, said: list[str]) -> None:
    found = [words for _, words in deviations._units(run(weights, units_filled=filled))]
    assert [words[: len(wanted)] for words, wanted in zip(found, said, strict=True)] == said
