"""A planned batch is changed and cancelled, filled as a product, and a line of it swapped for another material."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.products import products_of
from app.work.batches.as_made import as_made
from app.work.batches.changing import SwapForm, change_plan, plan_of, swap_material
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import still_open
from app.work.batches.loading import load_batch
from app.work.batches.planned_sheet import sheet_of_batch
from app.work.batches.planning import Plan, plan_batch, planning_choices
from app.work.batches.weighing import WeighingForm, record_weighings
from app.work.form import Faults
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.stock.listing import stock_rows

PLAN = Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines")


def load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)


def reserved(store: Store, name: str) -> Decimal:
    with store.reading() as session:
        return next(row.reserved for row in stock_rows(session) if row.name == name)


def change(store: Store, batch_id: int, number: str = "", **changes: object) -> None:
    batch = load(store, batch_id)
    plan = plan_of(batch).but(number=number or batch.number, who="Tom", **changes)
    change_plan(store, batch_id, batch.row_version, plan)


def weigh(store: Store, batch_id: int, changed: dict[str, str] | None = None) -> None:
    batch = load(store, batch_id)
    entries = [
        WeighingForm(line.id, (changed or {}).get(line.name, f"{line.shown_g:f}"), "L1: a trial")
        for line in batch.lines
    ]
    record_weighings(store, batch_id, batch.row_version, entries, who="Ines")


# -- changing the plan


def test_a_planned_batch_of_another_size_has_its_weights_and_its_stock_worked_out_again(demo: Store) -> None:
    before = reserved(demo, "Glycerin, vegetable")
    batch_id = plan_batch(demo, PLAN)
    planned = load(demo, batch_id)
    taken = reserved(demo, "Glycerin, vegetable") - before
    glycerin = next(line for line in planned.lines if line.name == "Glycerin, vegetable")
    assert taken == glycerin.shown_g
    change(demo, batch_id, size="600 g", loss="0", planned_on="2026-12-02", made_by="Tom")
    batch = load(demo, batch_id)
    assert (batch.number, batch.version_id, batch.size_g) == (planned.number, planned.version_id, Decimal(600))
    assert (batch.planned_on.isoformat(), batch.made_by, batch.loss_percent) == ("2026-12-02", "Tom", Decimal(0))
    assert sum(line.shown_g for line in batch.lines) == 600
    assert [line.id for line in batch.lines] == [line.id for line in planned.lines]
    for line in batch.lines:
        assert line.low_g <= line.shown_g <= line.high_g
    glycerin = next(line for line in batch.lines if line.name == "Glycerin, vegetable")
    assert reserved(demo, "Glycerin, vegetable") - before == glycerin.shown_g
    assert batch.history[-1].what == "plan changed"
    assert "300 g" in batch.history[-1].old
    assert "600 g" in batch.history[-1].new
    with demo.reading() as session:
        assert sheet_of_batch(session, batch_id)["sheet"].weighed_g == 600
    decide(demo, batch_id, batch.row_version, BatchDecision(state="cancelled", who="Tom", why="planned twice"))
    assert reserved(demo, "Glycerin, vegetable") == before


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"size": "abc"}, "size"),
        ({"size": ""}, "size"),
        ({"loss": "100"}, "loss"),
        ({"planned_on": "2.12.2026"}, "planned_on"),
        ({"made_by": "Nobody"}, "made_by"),
        ({"number": "HC-2026-001"}, "number"),
    ],
    ids=str,
)
def test_a_change_that_makes_no_sense_changes_nothing(demo: Store, changes: dict[str, str], field: str) -> None:
    batch_id = plan_batch(demo, PLAN)
    with pytest.raises(Faults) as told:
        change(demo, batch_id, **changes)
    assert list(told.value.by_field) == [field]
    assert len(load(demo, batch_id).history) == 1


def test_a_number_is_changed_and_never_given_again(demo: Store) -> None:
    first, second = plan_batch(demo, PLAN), plan_batch(demo, PLAN)
    old = load(demo, first).number
    change(demo, first, number="TRIAL-1")
    with pytest.raises(Faults, match="given to a batch already"):
        change(demo, second, number=old)
    with pytest.raises(Faults, match="given to a batch already"):
        change(demo, second, number="TRIAL-1")
    assert load(demo, plan_batch(demo, PLAN)).number not in {old, load(demo, second).number}


def test_what_is_begun_is_not_planned_anew(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    weigh(demo, batch_id)
    with pytest.raises(Conflict, match="in process"):
        change(demo, batch_id, size="600 g")


# -- a batch of a product


def test_the_fill_and_the_units_follow_from_the_product(demo: Store) -> None:
    with demo.reading() as session:
        product = products_of(session, 2)[0]
    assert (product.fill_amount, product.fill_unit) == (Decimal(60), "g")
    choices = planning_choices(demo, 2)
    assert (choices.products[0].id, choices.products[0].fill) == (product.id, "60 g")
    plan = Plan(2, 2, "25 units", fill="1 g", planned_on="2026-11-30", made_by="Ines", product=product.id)
    batch = load(demo, plan_batch(demo, plan))
    assert (batch.product.name, batch.fill_g, batch.size_g) == (product.name, Decimal(60), Decimal(1500))
    with demo.reading() as session:
        values = sheet_of_batch(session, batch.id)
    assert (values["product"], values["sheet"].size.units) == (product.name, 25)
    change(demo, batch.id, product="", size="30 units", fill="50 g")
    batch = load(demo, batch.id)
    assert (batch.product, batch.fill_g, batch.size_g) == (None, Decimal(50), Decimal(1500))
    with pytest.raises(NotFound):
        plan_batch(demo, Plan(1, None, "300 g", planned_on="2026-11-30", product=product.id))


# -- another material


def line_of(batch: Batch, word: str) -> int:
    return next(line.id for line in batch.lines if word in line.name)


def shelf_id(store: Store, name: str) -> int:
    with store.reading() as session:
        return next(row.material_id for row in stock_rows(session) if row.name == name)


def test_a_swapped_line_is_a_deviation_and_the_batch_as_made_holds_the_other_material(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    glycerin = line_of(load(demo, batch_id), "Glycerin")
    other = shelf_id(demo, "Coco-caprylate")
    swap_material(demo, batch_id, glycerin, SwapForm(material=other, who="Tom", why="none left"), key="s")
    swap_material(demo, batch_id, glycerin, SwapForm(material=other, who="Tom", why="none left"), key="s")
    line = next(one for one in load(demo, batch_id).lines if one.id == glycerin)
    assert (line.name, line.planned_name, line.is_swapped) == ("Coco-caprylate", "Glycerin, vegetable", True)
    with demo.reading() as session:
        sheet = sheet_of_batch(session, batch_id)["sheet"]
        notes = {row.line.name: row.line.note for row in sheet.lines}
        assert notes["Coco-caprylate"] == "in the place of Glycerin, vegetable"
        found = [one.what for one in still_open(session, load_batch(session, batch_id))]
    assert "Glycerin, vegetable: Coco-caprylate was taken in its place." in found
    weigh(demo, batch_id)
    with demo.reading() as session:
        made = as_made(session, load_batch(session, batch_id))
    assert made is not None
    assert not made.same_list
    assert "Coco-Caprylate" in made.list_made
    assert "Coco-Caprylate" not in made.list_planned
    sides = {row.name: (row.percent, row.made_percent) for row in made.lines}
    assert sides["Glycerin, vegetable"][1] is None
    assert sides["Coco-caprylate"][0] is None
    assert sides["Coco-caprylate"][1] > 0
    with pytest.raises(Conflict, match="weighed already"):
        swap_material(demo, batch_id, glycerin, SwapForm(material=shelf_id(demo, "Panthenol 75 %"), who="Tom", why="x"))


def test_a_material_that_is_swapped_back_leaves_the_batch_as_planned(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    before = next(one for one in load(demo, batch_id).lines if "Glycerin" in one.name)
    swap_material(demo, batch_id, before.id, SwapForm(shelf_id(demo, "Propanediol"), "none left", "Tom"))
    swap_material(demo, batch_id, before.id, SwapForm(shelf_id(demo, "Sodium hydroxide 10 %"), "none left", "Tom"))
    closer = next(one for one in load(demo, batch_id).lines if one.id == before.id)
    assert before.low_g < closer.low_g < closer.high_g < before.high_g  # what sets the pH is weighed more closely
    swap_material(demo, batch_id, before.id, SwapForm(material=before.material_id, who="Tom", why="found some"))
    line = next(one for one in load(demo, batch_id).lines if one.id == before.id)
    assert (line.name, line.is_swapped, line.material, line.low_g) == (before.name, False, "", before.low_g)


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"material": None}, "material"), ({"who": "Nobody"}, "who"), ({"why": " "}, "why")],
    ids=str,
)
def test_a_swap_needs_a_material_a_person_and_a_reason(demo: Store, changes: dict[str, str], field: str) -> None:
    batch_id = plan_batch(demo, PLAN)
    typed = {"material": shelf_id(demo, "Propanediol"), "who": "Tom", "why": "none left", **changes}
    with pytest.raises(Faults) as told:
        swap_material(demo, batch_id, line_of(load(demo, batch_id), "Glycerin"), SwapForm(**typed))
    assert list(told.value.by_field) == [field]


def test_weights_that_turn_the_order_of_the_label_around_are_told(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    lines = {line.name: line.shown_g for line in load(demo, batch_id).lines}
    glycerin = lines["Glycerin, vegetable"]
    small = [name for name, grams in lines.items() if Decimal(3) < grams < glycerin]
    weigh(demo, batch_id, {"Glycerin, vegetable": "3.2"} if small else {})
    with demo.reading() as session:
        made = as_made(session, load_batch(session, batch_id))
    assert made is not None
    assert made.only_order
    assert not made.same_list


# -- the tolerance of one line


def test_a_line_has_the_tolerance_that_the_specification_of_its_version_gives_it(demo: Store) -> None:
    with demo.reading() as session:
        current = open_draft(session, 1)
    words = "pH 5.5 to 6.5\nWeigh glycerin within 10 %"
    save_draft(demo, 1, replace(current.draft, specification=words), SaveOrigin(current.row_version, "t"))
    batch = load(demo, plan_batch(demo, PLAN))
    line = next(one for one in batch.lines if "Glycerin" in one.name)
    assert line.high_g == pytest.approx(line.shown_g * Decimal("1.1"), abs=line.step_g)
    water = batch.lines[0]
    assert water.high_g == pytest.approx(water.shown_g * Decimal("1.02"), abs=water.step_g)


def test_a_tolerance_of_no_line_of_the_formula_is_told_at_the_specification(demo: Store) -> None:
    with demo.reading() as session:
        current = open_draft(session, 1)
    words = "weigh Unobtainium within 1 %"
    save_draft(demo, 1, replace(current.draft, specification=words), SaveOrigin(current.row_version, "t"))
    with pytest.raises(Faults, match="no line of the formula is called so"):
        plan_batch(demo, PLAN)
