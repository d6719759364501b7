"""Batches: planned once, numbered once, weighed, decided, and never overwritten afterwards."""

import contextlib
import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import product

import pytest
from sqlalchemy import event, select, text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import to_places
from app.store.base import Base
from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.errors import Conflict, NotFound, Unusable
from app.store.formulas import FormulaVersion
from app.store.stock import Lot
from app.store.workshop import the_workshop
from app.work.batches import planning
from app.work.batches.batch_readings import (
    NoteForm,
    ReadingForm,
    YieldForm,
    add_note,
    add_reading,
    record_yield,
    yield_percent,
)
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.listing import Search, batches_csv, search_batches
from app.work.batches.loading import load_batch
from app.work.batches.planned_sheet import sheet_of_batch
from app.work.batches.planning import Plan, plan_batch, planning_choices
from app.work.batches.weighing import (
    WeighingForm,
    WeightCorrection,
    correct_weighing,
    record_weighings,
)
from app.work.form import Faults
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.formulas.listing import list_formulas
from app.work.paper_formula import PaperRequest, batch_sheet_of

PLAN = Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines")


def load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)


def weigh_all(store: Store, batch_id: int) -> None:
    """Weigh every line from a lot of the shelf; water gets the lot of the day."""
    batch = load(store, batch_id)
    with store.reading() as session:
        held = session.scalars(select(Lot).where(Lot.material_id.is_not(None), Lot.on_hand > Decimal(100))).all()
        codes = {lot.material_id: lot.code for lot in held if not lot.why_not(batch.planned_on)}
    entries = [WeighingForm(line.id, str(line.shown_g), codes.get(line.material_id, "")) for line in batch.lines]
    record_weighings(store, batch_id, batch.row_version, entries, who="Ines")


def count(store: Store, table: str) -> int:
    with store.reading() as session:
        return session.scalar(text(f"SELECT count(*) FROM {table}")) or 0  # noqa: S608


# -- planning


def test_a_plan_pins_the_draft_and_writes_what_is_to_be_weighed(demo: Store) -> None:
    batch = load(demo, plan_batch(demo, PLAN))
    assert batch.number == "HG-2026-002"
    assert batch.version.number == 1
    assert [line.name for line in batch.lines][:2] == ["Water, purified", "Carbomer"]
    assert sum(line.percent for line in batch.lines) == 100
    assert batch.history[0].what == "planned"


def test_a_changed_draft_is_kept_as_a_new_version(demo: Store) -> None:
    with demo.reading() as session:
        there = open_draft(session, 1)
    line = replace(there.draft.lines[3], amount="5")
    save_draft(demo, 1, there.draft.with_line(line), SaveOrigin(there.row_version, "t"))
    assert load(demo, plan_batch(demo, PLAN)).version.number == 2
    assert load(demo, plan_batch(demo, PLAN)).version.number == 2


def test_the_same_form_taken_twice_is_one_batch(demo: Store) -> None:
    first, second = (plan_batch(demo, PLAN, key="once") for _ in range(2))
    assert first == second
    assert load(demo, plan_batch(demo, PLAN, key="again")).number == "HG-2026-003"


def test_two_who_press_at_once_get_two_numbers(demo: Store) -> None:
    start, numbers = threading.Barrier(6), []

    def press() -> None:
        start.wait()
        for _ in range(5):
            # On a machine that is very busy the others may hold the database longer than one waits for it.
            with contextlib.suppress(Unusable):
                numbers.append(load(demo, plan_batch(demo, PLAN)).number)
                return

    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(numbers) == [f"HG-2026-{n:03d}" for n in range(2, 8)]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"size": "abc"}, "size"),
        ({"size": ""}, "size"),
        ({"size": "NaN g"}, "size"),
        ({"size": "1e400 g"}, "size"),
        ({"size": "-1 g"}, "size"),
        ({"size": "0 g"}, "size"),
        ({"loss": "100"}, "loss"),
        ({"loss": "-1"}, "loss"),
        ({"planned_on": "30.11.2026"}, "planned_on"),
        ({"formula": None}, "formula"),
    ],
    ids=str,
)
def test_a_plan_that_makes_no_sense_uses_up_no_number(demo: Store, change: dict[str, object], field: str) -> None:
    with pytest.raises(Faults) as told:
        plan_batch(demo, PLAN.but(**change))
    assert list(told.value.by_field) == [field]
    assert load(demo, plan_batch(demo, PLAN)).number == "HG-2026-002"


def test_everything_wrong_with_a_plan_is_told_at_once(demo: Store) -> None:
    with pytest.raises(Faults) as told:
        plan_batch(demo, PLAN.but(size="a lot", loss="many", planned_on="soon", made_by="Nobody"))
    assert list(told.value.by_field) == ["size", "loss", "planned_on", "made_by"]
    with pytest.raises(Faults) as told:
        plan_batch(demo, PLAN.but(formula="", planned_on=""))
    assert set(told.value.by_field) == {"formula", "planned_on"}


def test_a_draft_that_does_not_add_up_is_not_planned(demo: Store) -> None:
    with demo.reading() as session:
        there = open_draft(session, 1)
    line = replace(there.draft.lines[3], amount="200")
    save_draft(demo, 1, there.draft.with_line(line), SaveOrigin(there.row_version, "t"))
    with pytest.raises(Faults, match="add up") as told:
        plan_batch(demo, PLAN)
    assert list(told.value.by_field) == ["draft"]
    assert count(demo, "batch") == 6


def test_a_version_of_another_formula_is_not_taken(demo: Store) -> None:
    with pytest.raises(NotFound):
        plan_batch(demo, PLAN.but(version=2))


def test_a_number_that_is_taken_is_passed_over(demo: Store) -> None:
    with demo.transaction() as session:
        session.execute(text("UPDATE number_series SET last = 0"))
    assert load(demo, plan_batch(demo, PLAN)).number == "HG-2026-002"


def test_the_choices_offer_what_the_formula_has(demo: Store) -> None:
    offered = planning_choices(demo, 2)
    assert (offered.size, offered.fill, offered.loss) == ("40 units", "60 g", "3")
    assert [version.number for version in offered.versions] == [1]


def test_the_chosen_formula_is_offered_however_many_were_changed_after_it(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = {one.id for one in planning_choices(demo, None).formulas}
    monkeypatch.setattr(planning, "MOST_OFFERED", 1)
    (newest,) = planning_choices(demo, None).formulas
    assert len(every) > 2
    for chosen in sorted(every)[:2]:
        assert {one.id for one in planning_choices(demo, chosen).formulas} == {newest.id, chosen}


def test_a_loss_left_empty_is_that_of_the_version_on_plan_and_sheet(demo: Store) -> None:
    with demo.transaction() as session:
        session.execute(text("UPDATE workshop SET loss_percent = '11'"))
    with demo.reading() as session:
        printed = batch_sheet_of(session, PaperRequest(2, version_id=2, size="900 g"))
    batch_id = plan_batch(demo, Plan(2, 2, "900 g", planned_on="2026-11-30"))
    with demo.reading() as session:
        planned = sheet_of_batch(session, batch_id)["sheet"]
    assert planned.loss_percent == printed.loss_percent == 3
    assert [row.weigh_g for row in planned.lines] == [row.weigh_g for row in printed.lines]
    assert planning_choices(demo, 2, 2).loss == "3"
    assert planning_choices(demo, 2).loss == "11"


# -- weighing and observing


def test_the_first_weight_starts_the_batch_and_each_change_is_in_the_history(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    first = batch.lines[0]
    record_weighings(demo, batch_id, batch.row_version, [WeighingForm(first.id, "270,5 g", "W9: a trial")], who="Ines")
    after = load(demo, batch_id)
    assert after.state is BatchState.IN_PROCESS
    assert str(after.lines[0].actual_g) == "270.5"
    changed = {(e.what, e.old, e.new) for e in after.history}
    assert (f"{first.name}: weight", "", "270.5 g, lot W9") in changed
    assert ("state", "planned", "in process") in changed


def test_a_correction_is_a_row_of_its_own_that_names_the_old_one_and_why(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    entry = WeighingForm(batch.lines[0].id, "270.5", "W9: a trial")
    record_weighings(demo, batch_id, batch.row_version, [entry], who="Ines", checked_by="Tom")
    first = load(demo, batch_id).lines[0].weighings[0]
    correct_weighing(demo, batch_id, first.id, WeightCorrection("271", "W10: a trial", "Tom", "misread"))
    line = load(demo, batch_id).lines[0]
    assert (line.actual_g, line.lot_text, len(line.weighings)) == (Decimal(271), "W10", 2)
    assert (line.weighings[1].replaces_id, line.weighings[1].reason, line.weighings[0].grams) == (
        first.id,
        "misread; a trial",
        Decimal("270.5"),
    )
    last = load(demo, batch_id).history[-1]
    assert (last.old, last.new) == ("270.5 g, lot W9, checked by Tom", "271 g, lot W10")
    assert (last.by, last.why) == ("Tom", "misread; a trial")
    with pytest.raises(NotFound):
        correct_weighing(demo, batch_id, first.id, WeightCorrection("272", "", "Tom", "again"))


@pytest.mark.parametrize(("who", "reason", "field"), [("", "misread", "who"), ("Tom", " ", "reason")])
def test_a_correction_needs_a_name_and_a_reason(demo: Store, who: str, reason: str, field: str) -> None:
    weighing = load(demo, 1).lines[0].weighings[0]
    with pytest.raises(Faults) as told:
        correct_weighing(demo, 1, weighing.id, WeightCorrection("271", "", who, reason))
    assert list(told.value.by_field) == [field]


def test_a_decided_batch_is_corrected_by_a_signed_row_and_its_lot_is_found_by_the_new_one(demo: Store) -> None:
    batch_id = decided(demo)
    before = load(demo, batch_id)
    weighing = before.lines[0].weighings[0]
    correct_weighing(demo, batch_id, weighing.id, WeightCorrection("270", "PD-99", "Tom", "label misread"))
    after = load(demo, batch_id)
    assert (after.row_version, after.state) == (before.row_version, BatchState.RELEASED)
    assert after.lines[0].lot_text == "PD-99"
    assert [row.number for row in search_batches(demo, Search(words="PD-99"))] == [after.number]


def test_portions_of_two_lots_add_up_to_the_line(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    for grams, lot in (("200 g", "W1: a trial"), ("0.07 kg", "W2: a trial"), ("500 mg", "W1: a trial")):
        batch = load(demo, batch_id)
        record_weighings(demo, batch_id, batch.row_version, [WeighingForm(batch.lines[0].id, grams, lot)], who="Ines")
    line = load(demo, batch_id).lines[0]
    assert (line.actual_g, line.lot_text) == (Decimal("270.5"), "W1, W2")


@pytest.mark.parametrize(
    ("share", "asked"),
    [("10", True), ("5", True), ("4.9", False), ("0.1", True), ("0.01", True), ("0.5", False), ("1", False)],
)
def test_a_slip_of_the_decimal_is_asked_about_once(demo: Store, share: str, asked: bool) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    line = batch.lines[0]
    grams = f"{line.shown_g * Decimal(share):f}"
    entry = WeighingForm(line.id, grams, "W1: a trial")
    if asked:
        with pytest.raises(Faults) as told:
            record_weighings(demo, batch_id, batch.row_version, [entry], who="Ines")
        assert list(told.value.by_field) == [f"sure-{line.id}"]
        assert load(demo, batch_id).lines[0].weighings == []
        entry = entry.but(sure=grams)
    record_weighings(demo, batch_id, batch.row_version, [entry], who="Ines")
    assert load(demo, batch_id).lines[0].actual_g == Decimal(grams)


def test_texts_are_never_cut_and_hold_no_control_signs(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    line = batch.lines[0]
    with pytest.raises(Faults) as told:
        record_weighings(
            demo, batch_id, batch.row_version, [WeighingForm(line.id, "270", "L: a trial" * 200)], who="I" * 300
        )
    assert set(told.value.by_field) == {f"lot-{line.id}", "who"}
    with pytest.raises(Faults) as told:
        add_note(demo, batch_id, NoteForm(note="x" * 10_001, who="Ines"))
    assert list(told.value.by_field) == ["note"]
    long = "STOP" + "x" * 5_000 + ", do not release"
    add_note(demo, batch_id, NoteForm(note=long, who="Ines"))
    assert load(demo, batch_id).history[-1].new == long
    add_reading(demo, batch_id, ReadingForm("appearance", "even\x07\x1b, \u202emould seen" + "n" * 1900, who="Ines"))
    assert load(demo, batch_id).readings[-1].words == "even, mould seen" + "n" * 1900


@pytest.mark.parametrize("change", ["UPDATE {} SET grams = '1'", "DELETE FROM {}"])
def test_a_weighing_cannot_be_altered_in_the_database(demo: Store, change: str) -> None:
    with pytest.raises(DBAPIError, match="is kept as it is"), demo.transaction() as session:
        session.execute(text(change.format("batch_weighing")))


@pytest.mark.parametrize("bad", ["NaN", "1e400", "-1", "1,234", "abc", "٣"])
def test_a_weight_that_cannot_be_read_is_told_at_its_field_and_nothing_is_written(demo: Store, bad: str) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    first, second = batch.lines[:2]
    entries = [WeighingForm(first.id, "270", "W9: a trial"), WeighingForm(second.id, bad, "")]
    with pytest.raises(Faults) as told:
        record_weighings(demo, batch_id, batch.row_version, entries, who="Ines")
    assert list(told.value.by_field) == [f"actual-{second.id}"]
    assert all(line.actual_g is None for line in load(demo, batch_id).lines)


def test_a_form_read_before_somebody_else_saved_is_recognised(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    batch = load(demo, batch_id)
    entry = [WeighingForm(batch.lines[0].id, "270", "")]
    record_weighings(demo, batch_id, batch.row_version, entry, who="Ines")
    with pytest.raises(Conflict):
        record_weighings(demo, batch_id, batch.row_version, entry, who="Tom")


@pytest.mark.parametrize(
    ("kind", "words", "field"),
    [
        ("pH", "15", "words"),
        ("pH", "acid", "words"),
        ("pH", "", "words"),
        ("", "x", "kind"),
        ("density", "1000", "words"),
        ("weight", "-2", "words"),
    ],
)
def test_a_reading_that_makes_no_sense_is_told(demo: Store, kind: str, words: str, field: str) -> None:
    batch_id = plan_batch(demo, PLAN)
    with pytest.raises(Faults) as told:
        add_reading(demo, batch_id, ReadingForm(kind=kind, words=words, who="Ines"))
    assert list(told.value.by_field) == [field]
    assert load(demo, batch_id).readings == []


def test_the_yield_is_a_share_of_what_was_weighed_in(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    weigh_all(demo, batch_id)
    record_yield(demo, batch_id, YieldForm(amount="150.03", who="Ines"))
    weighed = sum(line.shown_g for line in load(demo, batch_id).lines)
    assert yield_percent(load(demo, batch_id)) == Decimal("150.03") / weighed * 100


def test_a_yield_taken_down_twice_is_one_line_of_the_history(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    for _ in range(2):
        record_yield(demo, batch_id, YieldForm(amount="150", who="Ines"))
    assert [event.what for event in load(demo, batch_id).history].count("yield") == 1


def test_the_sheet_of_a_batch_keeps_its_weights_whatever_becomes_of_the_scales(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    planned = [(line.name, line.shown_g, line.scale) for line in load(demo, batch_id).lines]
    changes = ("UPDATE scale SET readability_g = '1', name = name || ' new'", "DELETE FROM scale")
    for change in changes:
        with demo.transaction() as session:
            session.execute(text(change))
        with demo.reading() as session:
            sheet = sheet_of_batch(session, batch_id)["sheet"]
        assert [(row.line.name, row.weigh_g, row.scale.name) for row in sheet.lines] == planned
        assert all(row.weigh_g == to_places(row.weigh_g, row.scale.places) for row in sheet.lines)
        assert sheet.weighed_g == sum(weight for _, weight, _ in planned)


# -- deciding


def decided(store: Store) -> int:
    batch_id = plan_batch(store, PLAN)
    weigh_all(store, batch_id)
    add_reading(store, batch_id, ReadingForm(kind="pH", words="6.1", who="Ines"))
    record_yield(store, batch_id, YieldForm(amount="294", who="Ines"))
    decide(store, batch_id, load(store, batch_id).row_version, BatchDecision(state="released", who="Tom", why=""))
    return batch_id


def test_an_incomplete_record_is_not_released_whatever_the_reason(demo: Store) -> None:
    batch_id = plan_batch(demo, PLAN)
    version = load(demo, batch_id).row_version
    with pytest.raises(Faults) as told:
        decide(demo, batch_id, version, BatchDecision(state="released", who="Tom", why="training batch"))
    assert list(told.value.by_field) == ["state"]
    assert "nothing weighed" in str(told.value)
    assert load(demo, batch_id).state is BatchState.PLANNED


@pytest.mark.parametrize(
    ("state", "who", "why", "field"),
    [("released", "", "x", "who"), ("rejected", "Tom", "", "why"), ("planned", "Tom", "x", "state")],
)
def test_a_decision_needs_a_name_and_a_rejection_a_reason(
    demo: Store, state: str, who: str, why: str, field: str
) -> None:
    with pytest.raises((Faults, Invalid)) as told:
        decide(demo, 5, load(demo, 5).row_version, BatchDecision(state=state, who=who, why=why))
    found = told.value
    assert field in (list(found.by_field) if isinstance(found, Faults) else [found.field])


def test_what_is_decided_is_corrected_by_a_dated_note_and_never_overwritten(demo: Store) -> None:
    batch_id = decided(demo)
    batch = load(demo, batch_id)
    actions: list[Callable[[], None]] = [
        lambda: record_weighings(
            demo, batch_id, batch.row_version, [WeighingForm(batch.lines[0].id, "1", "")], who="Tom"
        ),
        lambda: add_reading(demo, batch_id, ReadingForm(kind="pH", words="5", who="Tom")),
        lambda: record_yield(demo, batch_id, YieldForm(amount="1", who="Tom")),
        lambda: decide(demo, batch_id, batch.row_version, BatchDecision(state="rejected", who="Tom", why="x")),
    ]
    for action in actions:
        with pytest.raises(Conflict, match="dated note"):
            action()
    with pytest.raises(Faults) as told:
        add_note(demo, batch_id, NoteForm(note="Label misprinted on three pots.", who=""))
    assert list(told.value.by_field) == ["who"]
    add_note(demo, batch_id, NoteForm(note="Label misprinted on three pots.", who="Tom"))
    assert load(demo, batch_id).history[-1].new == "Label misprinted on three pots."


@pytest.mark.parametrize(
    ("change", "table"),
    [
        *product(
            ["UPDATE {} SET id = id + 100000", "DELETE FROM {}"], ["batch_event", "formula_version", "version_line"]
        ),
        ("UPDATE {} SET id = id + 100000", "batch_reading"),
    ],
)
def test_the_history_and_the_versions_cannot_be_altered_in_the_database(demo: Store, change: str, table: str) -> None:
    before = count(demo, table)
    with pytest.raises(DBAPIError, match="is kept as it is"), demo.transaction() as session:
        session.execute(text(change.format(table)))
    assert count(demo, table) == before > 0


@pytest.mark.parametrize("table", ["batch", "material", "formula"])
def test_what_a_record_refers_to_cannot_be_deleted(demo: Store, table: str) -> None:
    with pytest.raises(DBAPIError), demo.transaction() as session:
        session.execute(text(f"DELETE FROM {table} WHERE id = 1"))  # noqa: S608


def test_a_version_with_a_batch_cannot_be_deleted(demo: Store) -> None:
    with pytest.raises(DBAPIError), demo.transaction() as session:
        session.execute(text("DELETE FROM formula_version WHERE id = 1"))


# -- all or nothing


DEEDS: dict[str, Callable[[Store], object]] = {
    "plan": lambda store: plan_batch(store, PLAN),
    "weigh": lambda store: weigh_all(store, 5),
    "reading": lambda store: add_reading(store, 5, ReadingForm(kind="pH", words="4.4", who="Tom"), key="k"),
    "note": lambda store: add_note(store, 5, NoteForm(note="A note", who="Tom"), key="k"),
    "yield": lambda store: record_yield(store, 4, YieldForm(amount="1000", who="Tom")),
    "decide": lambda store: decide(store, 4, load(store, 4).row_version, BatchDecision("rejected", "x", "Tom")),
}


@pytest.mark.parametrize("name", DEEDS)
def test_an_action_that_fails_at_any_write_leaves_everything_as_it_was(demo: Store, name: str) -> None:
    """Fail at the first write, the second, the third, until the action succeeds."""
    with demo.reading() as session:
        before = dump(session)
    failed = 0
    for nth in range(1, 60):
        if run_failing_at(demo, DEEDS[name], nth):
            break
        failed += 1
        with demo.reading() as session:
            assert dump(session) == before
    assert failed
    with demo.reading() as session:
        assert dump(session) != before


def dump(session: Session) -> list[tuple[str, list[str]]]:
    """Return every row of every table, on either database."""
    every = session.connection().exec_driver_sql
    names = [table.name for table in Base.metadata.sorted_tables]
    return [(name, sorted(map(repr, every(f"SELECT * FROM {name}")))) for name in names]  # noqa: S608


def run_failing_at(store: Store, action: Callable[[Store], object], nth: int) -> bool:
    writes = 0

    def fail(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        nonlocal writes
        writes += statement.split(maxsplit=1)[0] in {"INSERT", "UPDATE", "DELETE"}
        if writes == nth:
            raise OperationalError(statement, {}, Exception("database or disk is full"))

    event.listen(store.engine, "before_cursor_execute", fail)
    try:
        action(store)
    except Unusable:
        return False
    finally:
        event.remove(store.engine, "before_cursor_execute", fail)
    return True


# -- listing


def test_the_list_is_searched_by_any_words_in_any_order(demo: Store) -> None:
    assert [row.number for row in search_batches(demo, Search(words="hand oat"))] == ["HC-2026-001"]
    assert {row.number for row in search_batches(demo, Search(words="lavender"))} == {"HC-2026-001"}
    assert [row.number for row in search_batches(demo, Search(state="rejected"))] == ["BW-2026-001"]
    assert search_batches(demo, Search(words="100%_")) == []
    assert [row.planned_on for row in search_batches(demo, Search())] == sorted(
        (row.planned_on for row in search_batches(demo, Search())), reverse=True
    )


def test_a_lot_is_found_with_its_own_material_and_as_it_stands_after_corrections(demo: Store) -> None:
    batch = load(demo, 2)
    lavender = next(line for line in batch.lines if "avender" in line.name)
    other = next(line for line in batch.lines if line is not lavender)
    lot = lavender.standing[0].lot_text

    def found(**asked: object) -> list[str]:
        return [row.number for row in search_batches(demo, Search(**asked))]

    assert found(material="lavender", lot=lot.lower()) == [batch.number]
    assert found(material=other.name, lot=lot) == []
    assert found(lot=lot[:-1]) == []
    correct_weighing(demo, 2, lavender.standing[0].id, WeightCorrection("2.47", "PD-99", "Tom", "misread"))
    assert found(lot="PD-99") == [batch.number]
    assert found(lot=lot) == []
    assert found(formula_id=2, state="released") == [batch.number]
    assert found(since=batch.planned_on, until=batch.planned_on) == [batch.number]
    assert len(batches_csv(demo, Search()).splitlines()) == 7


def test_the_list_has_no_last_batch(demo: Store) -> None:
    for _ in range(3):
        plan_batch(demo, PLAN)
    assert len(search_batches(demo, Search())) == 9
    assert [row.id for row in search_batches(demo, Search(), skip=2, most=3)] == [
        r.id for r in search_batches(demo, Search())[2:5]
    ]
    made = {row.id: row.batches for row in list_formulas(demo)}
    assert made == {formula: len(search_batches(demo, Search(formula_id=formula))) for formula in made}


def test_a_pattern_of_the_workshop_is_followed(demo: Store) -> None:
    with demo.transaction() as session:
        the_workshop(session).batch_number_pattern = "M{year:2}{month}-{count:4}"
    assert load(demo, plan_batch(demo, PLAN)).number == "M2611-0001"
    with demo.reading() as session:
        assert session.get(FormulaVersion, 1) is not None


@pytest.mark.skipif(os.name == "nt", reason="the zone of a process cannot be changed there")
def test_a_batch_is_made_on_the_day_of_the_clock_on_the_wall(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 23:30 UTC it is past midnight in Helsinki (EET, two hours ahead in winter): the next day has begun."""
    batch = Batch(planned_on=date(2026, 11, 29))
    assert batch.made_on == date(2026, 11, 29)
    batch.started_at = datetime(2026, 11, 30, 23, 30, tzinfo=UTC)
    monkeypatch.setenv("TZ", "EET-2")
    time.tzset()
    try:
        assert batch.made_on == date(2026, 12, 1)
    finally:
        monkeypatch.undo()
        time.tzset()
