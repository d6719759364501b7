"""Lots and batches of one workshop in another: what they were, whole, shown before, and gone again when undone."""

import copy
import random
import re
import shutil
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError

from app.store.batches import DECIDED, Batch, BatchState
from app.store.engine import Store, sqlite_url
from app.store.errors import Conflict
from app.store.formulas import FormulaVersion
from app.store.models import Base
from app.store.stock import Lot, StockMove, Supplier
from app.work.batches.as_made import made_formula
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.weighing import WeightCorrection, correct_weighing
from app.work.csv_text import Unreadable
from app.work.handover.coming_in import preview_file, take_file
from app.work.handover.everything import everything_out
from app.work.handover.going_out import formulas_out
from app.work.handover.records import SHEETS, records_out
from app.work.handover.tables import LAYOUT, Tables, read_tables, write_csv, write_json, write_xlsx
from app.work.handover.undoing import undo_import
from app.work.stock.ledger import check_ledger, count_lot

OPEN = {state.value for state in BatchState} - {state.value for state in DECIDED}


def out(store: Store) -> Tables:
    with store.reading() as session:
        return {**formulas_out(session, every=True), **records_out(session)}


@pytest.fixture(scope="module")
def everything(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Tables:
    """Everything of the demonstration, with what its batches have none of: a pH session, and water lost to heat."""
    store = Store(sqlite_url(Path(shutil.copy(demo_file, tmp_path_factory.mktemp("records")))))
    tables = out(store)
    store.close()
    still_open = {row["number"] for row in tables["batches"] if row["state"] in OPEN}
    drawn = next(row for row in tables["weighings"] if row["batch"] not in still_open and row["from_lot"])
    batch, line = drawn["batch"], drawn["line"]
    last = str(sum(row["batch"] == batch for row in tables["weighings"]))
    session = {"batch": batch, "number": "1", "material": drawn["material"], "target_ph": "5.2", "batch_g": "500"}
    at = {"started_at": drawn["at"], "started_by": "Ines", "finished_at": drawn["at"], "pinned": ""}
    tables["ph_sessions"].append(session | at)
    heated = {"before_g": "900", "before_by": "Ines", "before_at": drawn["at"], "after_g": "880", "after_by": "Ines"}
    blank = dict.fromkeys(SHEETS["heatings"].columns, "") | {"batch": batch, "line": line, "after_at": drawn["at"]}
    tables["heatings"] += [
        {**blank, **heated, "number": "1"},
        {**blank, **heated, "number": "2", "after_g": "870", "replaces": "1", "reason": "misread"},
    ]
    weighed = dict.fromkeys(SHEETS["weighings"].columns, "") | {"batch": batch, "line": line, "at": drawn["at"]}
    added = {**weighed, "number": str(int(last) + 1), "material": drawn["material"], "grams": "0.5", "session": "1"}
    tables["weighings"].append({**added, "place": "1", "drops": "10", "advised_g": "0.6", "by": "Ines"})
    back = {**weighed, "number": str(int(last) + 2), "material": drawn["material"], "grams": "30", "heating": "2"}
    tables["weighings"].append({**back, "by": "Ines"})
    whole = next(row for row in tables["batch_lines"] if (row["batch"], row["position"]) == (batch, line))
    whole["actual_g"] = f"{Decimal(whole['actual_g']) + Decimal('30.5'):f}"
    read = {
        "what": "pH",
        "reading": "5.3",
        "value": "5.3",
        "at": drawn["at"],
        "by": "Ines",
        "session": "1",
        "place": "2",
    }
    tables["readings"].append(dict.fromkeys(SHEETS["readings"].columns, "") | {"batch": batch, **read})
    return {name: [dict.fromkeys(LAYOUT[name], "") | row for row in rows] for name, rows in tables.items()}


@pytest.fixture
def went(everything: Tables) -> Tables:
    return copy.deepcopy(everything)


def in_order(tables: Tables) -> dict[str, list[list[tuple[str, str]]]]:
    """Return the tables with the rows of each in one order, whatever order they were written in."""
    blank = {name: dict.fromkeys(LAYOUT[name], "") for name in tables}
    return {name: sorted(sorted((blank[name] | row).items()) for row in rows) for name, rows in tables.items()}


def counts(store: Store) -> dict[str, int]:
    with store.reading() as session:
        every = {name: session.scalar(select(func.count()).select_from(t)) for name, t in Base.metadata.tables.items()}
    return {name: found or 0 for name, found in every.items() if name not in ("formula_import", "form_key")}


def take(store: Store, tables: Tables, **more: Any) -> int:
    return take_file(store, write_json(tables), replace_drafts=False, with_records=True, who="Ines", **more)


def what_comes(went: Tables) -> Tables:
    """Return the tables without the batches that are still open, which stay with the workshop that makes them."""
    still_open = {row["number"] for row in went["batches"] if row["state"] in OPEN}
    assert still_open
    kept = copy.deepcopy(went)
    for name, rows in kept.items():
        if name in ("batches", "stock_moves", "lots"):
            continue
        kept[name] = [row for row in rows if row.get("batch") not in still_open]
    kept["batches"] = [row for row in kept["batches"] if row["number"] not in still_open]
    for row in kept["stock_moves"]:
        row.update({"batch": "", "line": ""} if row["batch"] in still_open else {})
    return kept


def test_the_demonstration_goes_out_whole_and_comes_into_an_empty_workshop_as_it_was(
    store: Store, went: Tables
) -> None:
    take(store, went)
    came = out(store)
    assert in_order(came) == in_order(what_comes(went))
    lots, faults = check_ledger(store)
    assert (lots, faults) == (len(went["lots"]), [])


def test_the_archive_itself_can_be_imported(demo: Store, store: Store) -> None:
    with demo.reading() as session:
        archive = everything_out(session)
    take_file(store, archive, replace_drafts=False, with_records=True)
    there, here = out(demo), out(store)
    for name in ("formulas", "versions", "materials", "products", "lots", "suppliers", "lot_history"):
        assert here[name] == there[name], name
    number = next(row["number"] for row in there["batches"] if row["state"] == "released")
    made = []
    for one in (demo, store):
        with one.reading() as session:
            batch = load_batch(session, session.scalars(select(Batch.id).where(Batch.number == number)).one())
            formula = made_formula(session, batch)
            assert formula
            made.append([(line.material.name, line.percent) for phase in formula.phases for line in phase.lines])
    assert made[0] == made[1]


@pytest.mark.parametrize("write", [write_xlsx, write_csv])
def test_every_kind_of_file_holds_the_records(went: Tables, write: Callable[[Tables], bytes]) -> None:
    assert read_tables(write(went)) == went


def test_an_import_that_is_undone_leaves_nothing_behind(store: Store, went: Tables) -> None:
    before = counts(store)
    taken = take(store, went)
    assert counts(store)["batch_weighing"] > 0
    undo_import(store, taken)
    assert counts(store) == before
    assert counts(store)["lot"] == 0


def test_what_is_here_already_is_left_alone(store: Store, went: Tables) -> None:
    take(store, went)
    before = counts(store)
    with store.reading() as session:
        plan = preview_file(session, write_json(went)).records
    assert {one.state for one in plan.lots} == {"same"}
    assert {one.state for one in plan.batches} == {"same", "out"}
    again = take(store, went)
    undo_import(store, again)
    assert counts(store) == before


def test_a_batch_that_is_still_open_stays_with_its_workshop_and_is_named(store: Store, went: Tables) -> None:
    with store.reading() as session:
        plan = preview_file(session, write_json(went)).records
    for one in plan.batches:
        still_open = next(row for row in went["batches"] if row["number"] == one.name)["state"] in OPEN
        assert (one.state == "out", "still open" in one.why) == (still_open, still_open)


def test_a_batch_of_another_workshop_is_never_changed(store: Store, went: Tables) -> None:
    take(store, went)
    with store.reading() as session:
        batch = session.scalars(select(Batch).where(Batch.state == BatchState.RELEASED).limit(1)).one()
        weighing = load_batch(session, batch.id).lines[0].standing[0]
    with pytest.raises(Conflict, match="another workshop"):
        correct_weighing(store, batch.id, weighing.id, WeightCorrection("1", "", "Ines", "slip"))
    corrects = (
        'INSERT INTO batch_weighing (line_id, grams, lot_text, scale, vessel, "by", checked_by, at, replaces_id,'
        " reason) SELECT line_id, '1', '', '', '', 'me', '', at, id, 'slip' FROM batch_weighing WHERE id = :weighing"
    )
    changes = ("UPDATE batch SET made_by = 'me' WHERE id = :batch", "DELETE FROM batch_event WHERE batch_id = :batch")
    whole = ("DELETE FROM batch_weighing WHERE id = :weighing", "DELETE FROM formula_version", "DELETE FROM stock_move")
    for statement in (*changes, *whole, corrects):
        with pytest.raises((DBAPIError, Conflict)), store.transaction() as session:
            session.execute(text(statement), {"batch": batch.id, "weighing": weighing.id})


def test_what_something_stands_on_is_not_undone_and_says_what_does(store: Store, went: Tables) -> None:
    taken = take(store, went)
    with store.transaction() as session:
        lot = session.scalars(select(Lot).where(Lot.on_hand > 1).limit(1)).one()
        count_lot(session, lot, lot.on_hand - 1, by="Ines")
        formula_id = session.scalars(select(FormulaVersion.formula_id).limit(1)).one()
    plan_batch(store, Plan(formula_id, None, "300 g", planned_on="2026-11-30", made_by="Ines"))
    before = counts(store)
    with pytest.raises(Conflict, match=f"lot {lot.code}[^;]*: stock was moved") as refused:
        undo_import(store, taken)
    assert "a version was saved" in str(refused.value)
    assert counts(store) == before


def test_a_lot_of_another_code_and_a_taken_batch_number_are_told_apart(store: Store, went: Tables) -> None:
    take(store, went)
    other = copy.deepcopy(went)
    code, number = other["lots"][0]["code"], next(r["number"] for r in went["batches"] if r["state"] == "released")
    other["lots"][0]["supplier_lot"] = "another"
    next(row for row in other["batches"] if row["number"] == number)["size"] = "7 kg"
    with store.reading() as session:
        plan = preview_file(session, write_json(other)).records
    lot = next(one for one in plan.lots if one.name == code)
    assert (lot.state, lot.called) == ("new", f"{code}-2")
    assert next(one for one in plan.batches if one.name == number).why == "another batch has its number"
    take(store, other)
    with store.reading() as session:
        found = session.scalars(select(Lot).where(Lot.code == f"{code}-2")).one()
        assert found.history[-1].old == code
        assert found.on_hand == session.scalars(select(Lot.on_hand).where(Lot.code == code)).one()


def test_a_lot_without_its_ledger_opens_with_what_is_on_hand(store: Store, went: Tables) -> None:
    lots = [row for row in went["lots"] if row["kind"] == "material" and not row["from_batch"]]
    only = {name: went[name] if name in ("materials", "prices") else [] for name in went} | {"lots": lots}
    take(store, only, file_name="lots.json")
    with store.reading() as session:
        moves = list(session.scalars(select(StockMove)))
        suppliers = session.scalar(select(func.count(Supplier.id)))
    assert {move.why for move in moves} == {"came in with lots.json"}
    assert len(moves) == sum(row["on_hand"] != "0" for row in lots)
    assert suppliers == len({row["supplier"].casefold() for row in lots} - {""})


def test_a_batch_stays_out_with_a_lot_that_stays_out(store: Store, went: Tables) -> None:
    drawn = next(row for row in went["weighings"] if row["from_lot"] and row["batch"] not in _still_open(went))
    lot = next(row for row in went["lots"] if row["code"] == drawn["from_lot"])
    lot["of"] = "Moon dust"
    with store.reading() as session:
        plan = preview_file(session, write_json(went)).records
    assert next(one for one in plan.lots if one.name == lot["code"]).why == "Moon dust is nowhere"
    assert f"lot {lot['code']}, which stays out" in next(x for x in plan.batches if x.name == drawn["batch"]).why


def _still_open(went: Tables) -> set[str]:
    return {row["number"] for row in went["batches"] if row["state"] in OPEN}


SPOILT: dict[str, tuple[Callable[[Tables], object], str]] = {
    "a lot twice": (lambda t: t["lots"].append(dict(t["lots"][0])), "stands twice"),
    "a batch twice": (lambda t: t["batches"].append(dict(t["batches"][0])), "stands twice"),
    "a lot without a code": (lambda t: t["lots"][0].update(code=" "), "1 to 60"),
    "a ledger that does not add up": (lambda t: t["lots"][0].update(on_hand="12345"), "add up"),
    "less than nothing": (lambda t: t["stock_moves"][0].update(amount="-5000000"), "below nothing|add up"),
    "a move of no lot": (lambda t: t["stock_moves"][0].update(lot="nowhere"), "no lot 'nowhere'"),
    "a weighing of no batch": (lambda t: t["weighings"][0].update(batch="nowhere"), "no batch 'nowhere'"),
    "a weighing of no line": (lambda t: t["weighings"][0].update(line="99"), "such a line"),
    "a weighing from no lot": (lambda t: t["weighings"][0].update(from_lot="nowhere"), "no lot 'nowhere'"),
    "a correction of a later row": (lambda t: t["weighings"][0].update(replaces="1"), "no earlier row"),
    "a formula for a weight": (lambda t: t["weighings"][0].update(grams="=1+1"), "grams is no number"),
    "a weight beyond all": (lambda t: t["weighings"][0].update(grams="1e999999"), "grams is no number"),
    "a day that is none": (lambda t: t["lots"][0].update(received_on="2026-02-30"), "received_on"),
    "a moment without a zone": (lambda t: t["batches"][0].update(created_at="2026-01-01T00:00:00"), "time zone"),
    "an unknown state": (lambda t: t["lots"][0].update(state="perhaps"), "state"),
    "an unknown state of a batch": (lambda t: t["batches"][0].update(state="perhaps"), "perhaps"),
    "a flag that is neither": (lambda t: t["batch_lines"][0].update(added_at_bench="no"), "yes or empty"),
    "a material that is no material": (lambda t: t["batch_lines"][0].update(pinned='[{"id": 1}]'), "batch_lines"),
    "a text beyond all": (lambda t: t["lots"][0].update(notes="x" * 300_000), "too long"),
    "a decision without a day": (lambda t: t["lots"][0].update(state="accepted", decided_at=""), "contradict"),
}


def test_records_that_cannot_be_taken_say_why_and_nothing_is_written(store: Store, everything: Tables) -> None:
    empty = counts(store)
    for case, (change, words) in SPOILT.items():
        tables = copy.deepcopy(everything)
        change(tables)
        with pytest.raises(Unreadable) as refused:
            take(store, tables)
        assert re.search(words, str(refused.value)), case
        assert counts(store) == empty, case


def test_records_that_are_cut_off_or_scrambled_never_half_write(store: Store, went: Tables) -> None:
    dice = random.Random(11)  # noqa: S311 - no secret
    empty = counts(store)
    for _ in range(5):
        spoilt = copy.deepcopy(went)
        name = dice.choice([one for one in SHEETS if spoilt[one]])
        row = dice.choice(spoilt[name])
        row[dice.choice(list(row))] = dice.choice(
            ["", "-1", "9" * 40, "=cmd", "\u200b", "yes", "2026-01-01", "[" * 500]
        )
        if dice.random() < 0.3:
            del spoilt[name][dice.randrange(len(spoilt[name])) :]
        try:
            taken = take(store, spoilt)
        except Unreadable:
            assert counts(store) == empty
            continue
        undo_import(store, taken)
        assert counts(store) == empty
