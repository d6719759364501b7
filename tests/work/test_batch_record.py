"""The record of a batch: what is out of plan is decided on, what is decided stays, and what was made is worked out."""

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from app.science.plain_data import from_plain
from app.science.tolerance import is_tight, weighing_band
from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.stock import Lot
from app.store.workshop import the_workshop
from app.work.batches.as_made import AsMade, as_made, made_formula
from app.work.batches.batch_readings import ReadingForm, YieldForm, add_reading, record_yield
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import out_of_plan, record_deviation, still_open
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.record import batch_record
from app.work.batches.rescuing import offered_rescue, rescue_batch
from app.work.batches.ticks import TickForm, tick
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.deviations import DeviationForm
from app.work.equipment import VESSELS, VesselForm
from app.work.form import Faults
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.gear_checks import GearCheckForm, record_check
from app.work.people import PersonForm, add_person, change_presence

PLAN = Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines")


def load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)


SHELF = "a lot of the shelf"


def codes_on_shelf(store: Store) -> dict[int | None, str]:
    """Return a lot of each material that may be weighed from; water has none and gets that of the day."""
    with store.reading() as session:
        held = session.scalars(select(Lot).where(Lot.material_id.is_not(None), Lot.on_hand > Decimal(100)))
        return {lot.material_id: lot.code for lot in held if not lot.why_not(date(2026, 10, 1))}


def weigh(store: Store, batch_id: int, changed: dict[str, str] | None = None, lot: str = SHELF) -> None:
    """Weigh every line as planned, but those of ``changed`` by their words; an empty text leaves a line out."""
    batch, codes = load(store, batch_id), codes_on_shelf(store)
    entries = []
    for line in batch.lines:
        word = next((word for word in changed or {} if word in line.name.lower()), "")
        grams = (changed or {}).get(word, f"{line.shown_g:f}")
        code = codes.get(line.material_id, "") if lot == SHELF else lot
        entries.append(WeighingForm(line.id, grams, code if grams and grams != "0" else "", sure=grams))
    record_weighings(store, batch_id, batch.row_version, entries, who="Ines")


def finished(store: Store, changed: dict[str, str] | None = None, lot: str = SHELF, ph: str = "6.1") -> int:
    batch_id = plan_batch(store, PLAN)
    weigh(store, batch_id, changed, lot)
    add_reading(store, batch_id, ReadingForm(kind="pH", words=ph, who="Ines"))
    record_yield(store, batch_id, YieldForm(f"{load(store, batch_id).weighed_g * Decimal('0.97'):f}", "Ines"))
    return batch_id


def open_of(store: Store, batch_id: int) -> list[str]:
    with store.reading() as session:
        return [one.what for one in still_open(session, load_batch(session, batch_id))]


def release(store: Store, batch_id: int, who: str = "Tom") -> None:
    decide(store, batch_id, load(store, batch_id).row_version, BatchDecision(state="released", who=who))


def settle_all(store: Store, batch_id: int) -> None:
    with store.reading() as session:
        keys = [one.key for one in still_open(session, load_batch(session, batch_id))]
    for key in keys:
        record_deviation(store, batch_id, DeviationForm(key, "", "slip", "none", "accepted", "Tom", "yes"))


def test_the_same_is_decided_of_every_line_without_a_lot_at_once(demo: Store) -> None:
    batch_id = finished(demo, lot="", ph="9.3")
    before = open_of(demo, batch_id)
    lots = [what for what in before if "no lot" in what]
    with demo.reading() as session:
        keys = {one.what: one.key for one in still_open(session, load_batch(session, batch_id))}
    assert len(lots) > 3
    assert len(before) > len(lots)
    said = DeviationForm(keys[lots[1]], "", "no lots are kept", "none", "accepted", "Tom", "yes")
    # Of something else, the tick of a hostile client decides on that alone.
    other = next(what for what in before if what not in lots)
    record_deviation(demo, batch_id, said.but(key=keys[other], alike="yes"))
    assert open_of(demo, batch_id) == [what for what in before if what != other]
    with pytest.raises(Faults):
        record_deviation(demo, batch_id, said.but(alike="yes", cause=""))
    record_deviation(demo, batch_id, said, key="one")
    assert open_of(demo, batch_id) == [what for what in before if what not in (other, lots[1])]
    record_deviation(demo, batch_id, said.but(key=keys[lots[0]], alike="yes"), key="all")
    assert open_of(demo, batch_id) == []
    release(demo, batch_id)


# -- bands


@pytest.mark.parametrize(
    ("planned", "step", "percent", "low", "high"),
    [
        ("200", "0.1", "2", "196", "204"),
        ("0.5", "0.1", "1", "0.4", "0.6"),
        ("0.05", "0.1", "2", "0", "0.1"),
        ("12.34", "0.01", "2", "12.1", "12.58"),
    ],
)
def test_a_band_is_a_share_of_the_plan_and_never_less_than_a_step(
    planned: str, step: str, percent: str, low: str, high: str
) -> None:
    band = weighing_band(Decimal(planned), Decimal(step), Decimal(percent))
    assert (band.low, band.high) == (Decimal(low), Decimal(high))
    assert band.holds(band.low)
    assert band.holds(band.high)
    assert band.low % Decimal(step) == band.high % Decimal(step) == 0
    assert not band.holds(band.high + Decimal("0.001"))


@pytest.mark.parametrize(
    ("functions", "hint", "tight"),
    [
        ("preservative", "any", True),
        ("pH adjuster", "any", True),
        ("", "adjuster", True),
        ("colourant", "any", True),
        ("emollient", "oil", False),
        ("humectant, solvent", "water", False),
    ],
)
def test_what_works_at_small_amounts_is_weighed_more_closely(functions: str, hint: str, tight: bool) -> None:
    assert is_tight(functions, hint) is tight


def test_every_line_has_a_band_from_planning_on_and_the_workshop_sets_it(demo: Store) -> None:
    with demo.transaction() as session:
        the_workshop(session).band_percent = Decimal(10)
    for line in load(demo, plan_batch(demo, PLAN)).lines:
        assert line.low_g is not None
        assert line.high_g is not None
        assert line.low_g < line.shown_g < line.high_g
    water = load(demo, plan_batch(demo, PLAN)).lines[0]
    assert water.high_g == pytest.approx(water.shown_g * Decimal("1.1"), abs=water.step_g)


# -- what is out of plan


def test_a_batch_as_planned_is_released(demo: Store) -> None:
    batch_id = finished(demo)
    assert open_of(demo, batch_id) == []
    release(demo, batch_id)
    assert load(demo, batch_id).state is BatchState.RELEASED


@pytest.mark.parametrize(
    ("changed", "lot", "ph", "said"),
    [
        ({"preserv": "0", "phenoxy": "0"}, SHELF, "6.1", "nothing weighed"),
        ({"glycerin": "90"}, SHELF, "6.1", "90 g weighed"),
        ({}, "", "6.1", "no lot is written"),
        ({}, SHELF, "7.9", "pH 7.9 read"),
    ],
    ids=["without its preservative", "ten times a humectant", "without lots", "pH outside"],
)
def test_what_is_not_as_planned_keeps_a_batch_from_its_release(
    demo: Store, changed: dict[str, str], lot: str, ph: str, said: str
) -> None:
    batch_id = finished(demo, changed, lot, ph)
    assert any(said in what for what in open_of(demo, batch_id))
    with pytest.raises(Faults) as told:
        release(demo, batch_id)
    assert "state" in told.value.by_field
    settle_all(demo, batch_id)
    assert open_of(demo, batch_id) == []


def test_a_batch_without_a_reading_or_with_an_impossible_yield_is_not_released(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    weigh(demo, batch_id)
    with pytest.raises(Faults) as told:
        record_yield(demo, batch_id, YieldForm(amount="999999", who="Ines"))
    assert list(told.value.by_field) == ["sure"]
    record_yield(demo, batch_id, YieldForm(amount="999999", who="Ines", sure="999999"))
    found = open_of(demo, batch_id)
    assert any("pH was not read" in what for what in found)
    assert any(what.startswith("Yield 3") for what in found)


def test_a_decision_holds_for_the_value_it_was_taken_on_and_for_no_other(demo: Store) -> None:
    batch_id = finished(demo, {"glycerin": "20"})
    settle_all(demo, batch_id)
    assert open_of(demo, batch_id) == []
    weighing = next(line for line in load(demo, batch_id).lines if "lycerin" in line.name).standing[0]
    correct_weighing(demo, batch_id, weighing.id, WeightCorrection("25", "L1: a trial", "Tom", "misread"))
    assert any("25 g weighed" in what for what in open_of(demo, batch_id))


def test_a_deviation_noted_by_hand_is_open_until_somebody_decides(demo: Store) -> None:
    batch_id = finished(demo)
    noted = DeviationForm(what="A fly was in the beaker", who="Ines")
    record_deviation(demo, batch_id, noted)
    assert open_of(demo, batch_id) == ["A fly was in the beaker"]
    with demo.reading() as session:
        key = still_open(session, load_batch(session, batch_id))[0].key
    with pytest.raises(Faults) as told:
        record_deviation(demo, batch_id, DeviationForm(key, "", "open window", "", "", "Tom", "yes"))
    assert set(told.value.by_field) == {"effect", "action"}
    settle_all(demo, batch_id)
    assert open_of(demo, batch_id) == []
    with demo.reading() as session:
        assert [one.what for one in out_of_plan(session, load_batch(session, batch_id))] == ["A fly was in the beaker"]
    with pytest.raises(DBAPIError, match="decided batch"), demo.transaction() as session:
        session.execute(text("UPDATE batch_deviation SET cause = 'other'"))


def test_where_two_people_are_asked_for_who_weighed_does_not_release(demo: Store) -> None:
    with demo.transaction() as session:
        the_workshop(session).two_people = True
    batch_id = finished(demo)
    with pytest.raises(Faults) as told:
        release(demo, batch_id, "IN")
    assert "Ines weighed" in told.value.by_field["who"]
    release(demo, batch_id, "Tom")


def test_where_one_works_alone_the_record_says_so(demo: Store) -> None:
    batch_id = finished(demo)
    release(demo, batch_id, "Ines")
    assert load(demo, batch_id).history[-1].new == "released by the person who weighed"


def test_a_batch_poured_too_much_into_is_rescued_at_its_percentages(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    VESSELS.add(demo, VesselForm("Beaker 250 ml", "120 g", "250"))
    VESSELS.add(demo, VesselForm("Pot 5 l", "1.2 kg", "5000"))
    weigh(demo, batch_id, {"glycerin": "18"})
    before = load(demo, batch_id)
    with demo.reading() as session:
        offered = offered_rescue(session, load_batch(session, batch_id))
    assert offered is not None
    assert (offered.vessels, offered.some_vessel_known) == (("Pot 5 l",), True)
    assert "Glycerin" in offered.cause
    rescue_batch(demo, batch_id, before.row_version, who="Ines", key="k")
    rescue_batch(demo, batch_id, before.row_version, who="Ines", key="k")
    after = load(demo, batch_id)
    glycerin = next(line for line in before.lines if "lycerin" in line.name)
    factor = Decimal(18) / glycerin.shown_g
    for old, new in zip(before.lines, after.lines, strict=True):
        assert abs(new.shown_g - factor * old.shown_g) <= new.step_g
        if old.high_g is not None and new.high_g is not None:
            # The band is as wide in % as it was planned, to what the scale shows.
            wide = (old.high_g - old.shown_g) * factor
            assert abs(new.high_g - new.shown_g - wide) <= new.step_g + old.step_g * factor
    for line in after.lines:
        more = line.shown_g - (line.actual_g or 0)
        if more > 0:
            entry = WeighingForm(line.id, f"{more:f}", "L2: a trial", sure=f"{more:f}")
            record_weighings(demo, batch_id, load(demo, batch_id).row_version, [entry], who="Ines")
    assert not any("g weighed" in what for what in open_of(demo, batch_id))
    assert any("Too much added" in what for what in open_of(demo, batch_id))
    with demo.reading() as session:
        made = made_formula(session, load_batch(session, batch_id))
        assert offered_rescue(session, load_batch(session, batch_id)) is None
    assert made is not None
    for line in after.lines:
        assert made.line(line.line_key).percent == pytest.approx(line.percent, abs=Decimal("0.02"))


# -- states


def test_a_batch_waits_in_quarantine_and_is_released_from_there(demo: Store) -> None:
    batch_id = finished(demo)
    decide(demo, batch_id, load(demo, batch_id).row_version, BatchDecision(state="quarantine", who="Ines"))
    assert load(demo, batch_id).decided_at is None
    release(demo, batch_id)


def test_only_a_planned_batch_is_cancelled_and_with_a_reason(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    with pytest.raises(Faults) as told:
        decide(demo, batch_id, 1, BatchDecision(state="cancelled", who="Tom"))
    assert list(told.value.by_field) == ["why"]
    decide(demo, batch_id, 1, BatchDecision(state="cancelled", who="Tom", why="planned twice"))
    assert load(demo, batch_id).state is BatchState.CANCELLED
    begun = finished(demo)
    with pytest.raises(Conflict, match="rejected, not cancelled"):
        decide(demo, begun, load(demo, begun).row_version, BatchDecision(state="cancelled", who="Tom", why="x"))


CHANGES = (
    "UPDATE batch SET yield_g = '1' WHERE id = {id}",
    "UPDATE batch SET state = 'planned', decided_at = NULL WHERE id = {id}",
    "DELETE FROM batch WHERE id = {id}",
    "UPDATE batch_line SET shown_g = '1' WHERE batch_id = {id}",
    "DELETE FROM batch_line WHERE batch_id = {id}",
    "DELETE FROM batch_reading WHERE batch_id = {id}",
    "INSERT INTO batch_reading (batch_id, kind, words, taken_at, taken_by) VALUES ({id}, 'pH', '5', '', 'T')",
    "UPDATE batch_tick SET remark = 'x' WHERE batch_id = {id}",
    'INSERT INTO batch_weighing (line_id, grams, lot_text, scale, vessel, "by", checked_by, at, reason)'
    " SELECT id, '1', '', '', '', 'T', '', '', '' FROM batch_line WHERE batch_id = {id}",
)


@pytest.mark.parametrize("change", CHANGES)
def test_a_decided_batch_refuses_any_change_in_the_database_itself(demo: Store, change: str) -> None:
    batch_id = finished(demo)
    release(demo, batch_id)
    with pytest.raises(DBAPIError, match="kept as it is"), demo.transaction() as session:
        session.execute(text(change.format(id=batch_id)))


def test_the_specification_of_the_version_is_answered_by_readings(demo: Store) -> None:
    with demo.reading() as session:
        current = open_draft(session, 1)
    words = "pH 5.9 to 6.2\nviscosity 3000 to 6000 mPa s (spindle 4)\nsmell: faint\noptional density 0.9 to 1.1"
    save_draft(demo, 1, replace(current.draft, specification=words), SaveOrigin(current.row_version, "t"))
    batch_id = finished(demo)
    found = open_of(demo, batch_id)
    assert found == [
        "viscosity was not read; 3000 to 6000 mPa s is wanted.",
        "smell was not read; faint is wanted.",
    ]
    with pytest.raises(Faults):
        add_reading(demo, batch_id, ReadingForm(kind="viscosity", words="thick", who="Ines"))
    add_reading(demo, batch_id, ReadingForm(kind="Viscosity", words="2500 mPa s", who="Ines"))
    add_reading(demo, batch_id, ReadingForm(kind="smell", words="faint", who="Ines"))
    assert open_of(demo, batch_id) == ["viscosity 2500 mPa s read, 3000 to 6000 mPa s wanted."]
    add_reading(demo, batch_id, ReadingForm(kind="viscosity", words="3100", who="Ines"))
    release(demo, batch_id)


# -- steps and people


def test_points_and_steps_are_ticked_once_by_somebody(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    points = load(demo, batch_id).ticks
    assert [one.kind.value for one in points][:4] == ["start-up"] * 4
    assert any(one.kind.value == "step" for one in points)
    with pytest.raises(Faults) as told:
        tick(demo, batch_id, [points[0].id], TickForm(who="", temperature="900"))
    assert set(told.value.by_field) == {"who", "temperature"}
    tick(demo, batch_id, [points[0].id], TickForm(who="IN", temperature="21,5"))
    tick(demo, batch_id, [points[0].id], TickForm(who="Tom"))
    first = load(demo, batch_id).ticks[0]
    assert (first.done_by, first.temperature_c) == ("Ines", Decimal("21.5"))


def test_who_did_what_is_a_person_of_the_list(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    for who in ("", "Nobody"):
        with pytest.raises(Faults) as told:
            add_reading(demo, batch_id, ReadingForm(kind="pH", words="6", who=who))
        assert list(told.value.by_field) == ["who"]
    person_id = add_person(demo, PersonForm("Ada Moor", "AM"))
    with pytest.raises(Faults):
        add_person(demo, PersonForm("ada moor", "X"))
    add_reading(demo, batch_id, ReadingForm(kind="pH", words="6", who="am"))
    assert load(demo, batch_id).readings[-1].taken_by == "Ada Moor"
    change_presence(demo, person_id, left=True)
    with pytest.raises(Faults):
        add_reading(demo, batch_id, ReadingForm(kind="pH", words="6", who="Ada Moor"))


def test_a_scale_whose_check_is_overdue_asks_for_a_reason_that_stays_in_the_history(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    line = load(demo, batch_id).lines[0]
    check = GearCheckForm(line.scale, "2025-01-01", "100 g weight", "100.1", "0.1", "yes", "2025-07-01", "Ines")
    record_check(demo, check)
    entry = [WeighingForm(line.id, f"{line.shown_g:f}", "L1: a trial")]
    with pytest.raises(Faults) as told:
        record_weighings(demo, batch_id, 1, entry, who="Ines")
    assert list(told.value.by_field) == ["gear_reason"]
    record_weighings(demo, batch_id, 1, entry, who="Ines", gear_reason="the weight is on its way")
    assert ("gear overdue", "the weight is on its way") in {(e.what, e.why) for e in load(demo, batch_id).history}
    record_check(demo, check.but(checked_on="2026-11-01", next_due="2099-01-01"))
    record_weighings(demo, batch_id, load(demo, batch_id).row_version, entry, who="Ines")
    record_check(demo, check.but(checked_on="2026-11-02", next_due="2099-01-01", passed=""))
    with pytest.raises(Faults):
        record_weighings(demo, batch_id, load(demo, batch_id).row_version, entry, who="Ines")


def test_the_record_names_the_gear_that_weighed_and_no_other(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    first, second = load(demo, batch_id).lines[:2]
    for gear in ("Old balance", "Spare balance"):
        check = GearCheckForm(gear, "2026-11-01", "100 g weight", "100.0", "0.1", "yes", "2099-01-01", "Ines")
        record_check(demo, check)
    weighed = WeighingForm(first.id, f"{first.shown_g:f}", "L1: a trial", "Old balance")
    only_a_lot = WeighingForm(second.id, "", "L2: a trial", "Spare balance")
    record_weighings(demo, batch_id, 1, [weighed, only_a_lot], who="Ines")
    with demo.reading() as session:
        assert [row.name for row in batch_record(session, batch_id).gear] == ["Old balance"]


def test_a_check_says_what_is_missing_and_stays_as_it_is(demo: Store) -> None:
    with pytest.raises(Faults) as told:
        record_check(demo, GearCheckForm("", "1.1.2026", "", "", "", "yes", "2026", ""))
    assert set(told.value.by_field) == {"gear", "checked_on", "reference", "reading", "next_due", "who"}
    record_check(demo, GearCheckForm("pH meter", "2026-11-01", "buffer 7", "7.02", "", "yes", "2026-12-01", "Tom"))
    with pytest.raises(DBAPIError, match="kept as it is"), demo.transaction() as session:
        session.execute(text("UPDATE gear_check SET reading = '7.00'"))


# -- as made


def test_a_batch_as_made_is_the_formula_of_its_weights(demo: Store) -> None:
    batch_id = finished(demo, {"glycerin": "20"})
    with demo.reading() as session:
        batch = load_batch(session, batch_id)
        made = made_formula(session, batch)
    assert made is not None
    assert made.total_percent == 100
    glycerin = next(line for line in made.lines if "lycerin" in line.name)
    assert glycerin.percent == pytest.approx(2000 / batch.weighed_g, abs=Decimal("0.00001"))
    assert made.target_ph == Decimal("6.1")


def test_without_its_preservative_a_batch_is_told_to_be_water_without_one(demo: Store) -> None:
    batch_id = finished(demo, {"preserv": "0", "phenoxy": "0"})
    with demo.reading() as session:
        found = as_made(session, load_batch(session, batch_id))
    assert found is not None
    assert any(one.rule == "P01" for one in found.findings)
    assert from_plain(AsMade, json.loads(found.to_json())) == found
    assert not found.same_list


def test_a_batch_as_planned_differs_in_nothing(demo: Store) -> None:
    batch_id = finished(demo, ph="6.0")
    with demo.reading() as session:
        found = as_made(session, load_batch(session, batch_id))
    assert found is not None
    assert found.findings == ()
    assert found.new_gaps == ()
    assert found.same_list


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    grams=st.lists(st.decimals("0.01", "500", places=2), min_size=1, max_size=6),
    corrected=st.lists(st.tuples(st.integers(0, 5), st.decimals("0", "500", places=2)), max_size=4),
)
def test_after_any_portions_and_corrections_the_line_is_what_stands(
    record: tuple[Store, int], grams: list[Decimal], corrected: list[tuple[int, Decimal]]
) -> None:
    store, batch_id = record
    batch = load(store, batch_id)
    line = batch.lines[1]
    expected = {one.id: one.grams for one in line.standing}
    for amount in grams:
        entry = WeighingForm(line.id, f"{amount:f}", "L: a trial", sure=f"{amount:f}")
        record_weighings(store, batch_id, load(store, batch_id).row_version, [entry], who="Ines")
        expected[load(store, batch_id).lines[1].weighings[-1].id] = amount
    for place, amount in corrected:
        key = list(expected)[place % len(expected)]
        if expected[key] == amount:
            continue
        correct_weighing(store, batch_id, key, WeightCorrection(f"{amount:f}", "L", "Tom", "misread"))
        del expected[key]
        expected[load(store, batch_id).lines[1].weighings[-1].id] = amount
    line = load(store, batch_id).lines[1]
    assert {one.id: one.grams for one in line.standing} == expected
    assert line.actual_g == sum(expected.values())


@pytest.fixture
def record(demo: Store) -> tuple[Store, int]:
    return demo, plan_batch(demo, PLAN, key="record")
