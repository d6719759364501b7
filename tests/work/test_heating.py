"""Water lost while heating: weighed before and after, put back, counted as made, and learned for the pot."""

from decimal import Decimal

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from app.store.batches import Batch, Heating
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.materials import MaterialRow
from app.work.batches.as_made import made_formula
from app.work.batches.batch_readings import yield_percent
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import still_open
from app.work.batches.heating import (
    BeforeForm,
    PotCorrection,
    PotForm,
    begin_heating,
    correct_heating,
    end_heating,
    heating_of,
    put_water_back,
)
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.pots import learned_losses
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.equipment import VESSELS, VesselForm
from app.work.form import Faults
from app.work.stock.lots import house_lot

PLAN = Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines")


def load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)


@pytest.fixture
def weighed(demo: Store) -> int:
    """A batch of 300 g with every line weighed as planned, and a pot of 800 g."""
    VESSELS.add(demo, VesselForm("Pot 1 l", "800 g", "1000"))
    batch_id = plan_batch(demo, PLAN)
    lines = load(demo, batch_id).lines
    entries = [WeighingForm(line.id, f"{line.shown_g:f}", "L1: a trial") for line in lines]
    record_weighings(demo, batch_id, 1, entries, who="Ines")
    return batch_id


USUAL = {"vessel": "Pot 1 l", "phase": "A", "scale": "Bench scale"}


def before(grams: str, **more: str) -> BeforeForm:
    return BeforeForm(grams, "Ines", **{**USUAL, **more})


def pot(grams: str, **more: str) -> PotForm:
    return PotForm(grams, "Ines", **{**USUAL, **more})


def heat(store: Store, batch_id: int, full: str, after: str) -> Heating:
    begin_heating(store, batch_id, before(full))
    row = load(store, batch_id).heatings[-1]
    end_heating(store, batch_id, row.id, pot(after))
    return load(store, batch_id).heatings[-1]


def open_of(store: Store, batch_id: int) -> list[str]:
    with store.reading() as session:
        return [one.what for one in still_open(session, load_batch(session, batch_id))]


def test_what_evaporated_is_missing_as_made_and_what_is_put_back_counts_again(demo: Store, weighed: int) -> None:
    water = load(demo, weighed).lines[0]
    assert water.name == "Water, purified"
    whole = load(demo, weighed).held_g
    row = heat(demo, weighed, "1100", "1082.6")
    assert (row.lost_g, row.missing_g) == (Decimal("17.4"), Decimal("17.4"))
    batch = load(demo, weighed)
    assert (batch.weighed_g, batch.held_g) == (whole, whole - Decimal("17.4"))
    told = batch.history[-1]
    assert (told.what, told.old, told.new) == ("Pot 1 l: after heating", "1100 g", "1082.6 g, 17.4 g lost")
    with demo.reading() as session:
        made = made_formula(session, load_batch(session, weighed))
    assert made is not None
    left = 100 * (water.shown_g - Decimal("17.4")) / (whole - Decimal("17.4"))
    assert made.line(water.line_key).percent == pytest.approx(left, abs=Decimal("0.00001"))
    assert any("less 17.4 g lost while heating" in what for what in open_of(demo, weighed))
    put_water_back(demo, weighed, row.id, pot("17.4", lot="W2: a trial"), key="k")
    put_water_back(demo, weighed, row.id, pot("17.4", lot="W2: a trial"), key="k")
    batch = load(demo, weighed)
    assert (batch.lines[0].actual_g, batch.held_g) == (water.shown_g + Decimal("17.4"), whole)
    assert batch.heatings[0].missing_g == 0
    with demo.reading() as session:
        made = made_formula(session, load_batch(session, weighed))
    assert made.line(water.line_key).percent == pytest.approx(water.percent, abs=Decimal("0.01"))
    assert not any("heating" in what for what in open_of(demo, weighed))
    back = batch.heatings[0].put_back[0]
    correct_weighing(demo, weighed, back.id, WeightCorrection("17.0", "W2", "Tom", "misread"))
    assert load(demo, weighed).heatings[0].missing_g == Decimal("0.4")


def test_the_water_put_back_is_taken_from_the_water_of_the_day(demo: Store, weighed: int) -> None:
    row = heat(demo, weighed, "1100", "1088")
    with demo.transaction() as session:
        material = session.get_one(MaterialRow, load(demo, weighed).lines[0].material_id)
        material.drawn_here = True
    put_water_back(demo, weighed, row.id, pot("12"))
    with demo.transaction() as session:
        lot = house_lot(session, session.get_one(MaterialRow, load(demo, weighed).lines[0].material_id), by="Ines")
        assert load(demo, weighed).heatings[0].put_back[0].lot_id == lot.id


@pytest.mark.parametrize(
    ("grams", "changed", "field"),
    [("", {}, "pot-grams"), ("x", {}, "pot-grams"), ("790", {}, "pot-grams"), ("1100", {"vessel": ""}, "pot-vessel")],
    ids=["nothing", "no number", "less than the pot", "no pot"],
)
def test_a_wrong_first_weight_is_told_at_its_field(
    demo: Store, weighed: int, grams: str, changed: dict[str, str], field: str
) -> None:
    with pytest.raises(Faults) as told:
        begin_heating(demo, weighed, before(grams, **changed))
    assert list(told.value.by_field) == [field]
    assert load(demo, weighed).heatings == ()


def test_a_second_weight_cannot_gain_nor_lose_more_than_the_water(demo: Store, weighed: int) -> None:
    begin_heating(demo, weighed, before("1100"))
    row = load(demo, weighed).heatings[0]
    assert any("not after it" in what for what in open_of(demo, weighed))
    for grams in ("1100.5", "110"):
        with pytest.raises(Faults) as told:
            end_heating(demo, weighed, row.id, pot(grams))
        assert list(told.value.by_field) == ["after-grams"]
    end_heating(demo, weighed, row.id, pot("1090"))
    with pytest.raises(NotFound):
        end_heating(demo, weighed, row.id, pot("1080"))
    with pytest.raises(Faults) as told:
        put_water_back(demo, weighed, row.id, pot("100"))
    assert list(told.value.by_field) == ["back-sure"]
    put_water_back(demo, weighed, row.id, pot("100", sure="100", lot="W: a trial"))
    assert any(what.startswith("Water, purified:") for what in open_of(demo, weighed))


def test_a_correction_of_a_pot_names_the_row_it_replaces_and_keeps_the_water_put_back(
    demo: Store, weighed: int
) -> None:
    row = heat(demo, weighed, "1100", "1088")
    put_water_back(demo, weighed, row.id, pot("12", lot="W: a trial"))
    for fields in ({"reason": ""}, {"before": ""}, {"after": "1200"}):
        given = {"before": "1100", "after": "1085", "who": "Tom", "reason": "misread", **fields}
        with pytest.raises(Faults):
            correct_heating(demo, weighed, row.id, PotCorrection(**given))
    correct_heating(demo, weighed, row.id, PotCorrection("1100", "1085", "Tom", "misread"))
    fixed = load(demo, weighed).heatings
    assert [(one.replaces_id, one.lost_g, one.missing_g) for one in fixed] == [(row.id, Decimal(15), Decimal(3))]
    with pytest.raises(NotFound):
        correct_heating(demo, weighed, row.id, PotCorrection("1100", "1085", "Tom", "misread"))


def test_the_loss_of_a_pot_is_learned_from_what_stands(demo: Store, weighed: int) -> None:
    for after in ("1090", "1088", "1086"):
        row = heat(demo, weighed, "1100", after)
        put_water_back(demo, weighed, row.id, pot(f"{row.lost_g:f}", lot="W: a trial"))
    correct_heating(demo, weighed, row.id, PotCorrection("1100", "1084", "Tom", "misread"))
    with demo.reading() as session:
        found = learned_losses(session)["Pot 1 l"]
        offered = heating_of(session, load_batch(session, weighed))
    assert (found.usual_g, found.least_g, found.most_g, found.count) == (12, 10, 16, 3)
    assert offered is not None
    assert offered.pots[0].learned == found


def test_the_yield_is_of_what_is_in_the_batch(demo: Store, weighed: int) -> None:
    row = heat(demo, weighed, "1100", "1090")
    put_water_back(demo, weighed, row.id, pot("10", lot="W: a trial"))
    with demo.transaction() as session:
        load_batch(session, weighed).yield_g = Decimal(291)
    batch = load(demo, weighed)
    assert yield_percent(batch) == 100 * Decimal(291) / batch.held_g
    assert batch.held_g == batch.weighed_g - 10


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE batch_heating SET after_g = '1000'",
        "DELETE FROM batch_heating",
        "INSERT INTO batch_heating (line_id, phase, vessel, scale, before_g, before_by, before_at, after_by, reason)"
        " SELECT line_id, phase, vessel, scale, before_g, before_by, before_at, '', '' FROM batch_heating",
    ],
)
def test_the_weights_of_a_pot_refuse_any_change_in_the_database_itself(demo: Store, weighed: int, change: str) -> None:
    heat(demo, weighed, "1100", "1090")
    if change.startswith("INSERT"):
        version = load(demo, weighed).row_version
        decide(demo, weighed, version, BatchDecision(state="rejected", who="Tom", why="boiled over"))
    with pytest.raises(DBAPIError, match="kept as it is"), demo.transaction() as session:
        session.execute(text(change))
