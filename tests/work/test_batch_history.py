"""What everything that is done to a batch leaves in its history: what, by whom, what stood there before, and why."""

from typing import Any

import pytest
from sqlalchemy import select

from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.errors import Conflict
from app.work.batches.batch_readings import NoteForm, ReadingForm, YieldForm, add_note, add_reading, record_yield
from app.work.batches.changing import SwapForm, change_plan, plan_of, swap_material
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.loading import load_batch
from app.work.batches.rescuing import rescue_batch
from app.work.batches.ticks import TickForm, tick
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.form import Faults
from app.work.people import person_named

Said = tuple[str, str, str, str, str]


def load(store: Store, gel: Any) -> Batch:
    with store.reading() as session:
        return load_batch(session, gel.batch_id)


def said(store: Store, gel: Any, count: int = 1) -> list[Said]:
    return [(one.what, one.by, one.old, one.new, one.why) for one in load(store, gel).history[-count:]]


def test_everything_that_is_done_is_signed_with_what_stood_there_before(store: Store, gel: Any) -> None:
    batch = load(store, gel)
    _water, glycerin, carbomer, _alkali = batch.lines
    plan = plan_of(batch).but(size="400 g", fill="", planned_on="2026-12-01", made_by="Tom", number="G-7", who="Ines")
    change_plan(store, batch.id, batch.row_version, plan)
    assert said(store, gel) == [
        ("plan changed", "Ines", f"{batch.number}, 500 g, filled 50 g, 0 % loss, for 2026-11-25, made by Ines",
         "G-7, 400 g, filled 50 g, 0 % loss, for 2026-12-01, made by Tom", ""),
    ]  # fmt: skip
    swap_material(store, batch.id, carbomer.id, SwapForm(material=gel.materials["acid"], who="Ines", why="none left"))
    (what, by, _old, new, why) = said(store, gel)[0]
    assert (by, why, carbomer.name in what or carbomer.name in _old, "Citric acid 20 %" in new) == (
        "Ines", "none left", True, True,
    )  # fmt: skip
    tick(store, batch.id, [batch.ticks[0].id], TickForm(who="Tom", temperature="20", remark="clean"))
    done = load(store, gel).ticks[0]
    assert (done.done_by, done.temperature_c, done.remark) == ("Tom", 20, "clean")
    assert ("done: " + done.words, "Tom", "", "clean", "") in said(store, gel, 2)
    version = load(store, gel).row_version
    entry = WeighingForm(glycerin.id, "12,5 g", "G1", sure="12,5 g")
    record_weighings(store, batch.id, version, [entry], who="Tom", checked_by="Ines")
    assert said(store, gel) == [(f"{glycerin.name}: weight", "Tom", "", "12.5 g, lot G1, checked by Ines", "")]
    weighing = next(line for line in load(store, gel).lines if line.id == glycerin.id).standing[0]
    correct_weighing(store, batch.id, weighing.id, WeightCorrection(grams="12", lot="G2", who="Ines", reason="misread"))
    assert said(store, gel)[0][:2] == (f"{glycerin.name}: weight corrected", "Ines")
    assert said(store, gel)[0][4] == "misread"
    add_reading(store, batch.id, ReadingForm(kind="pH", words="5.4", temperature="21", who="Tom"))
    reading = load(store, gel).readings[-1]
    assert (str(reading.value), reading.temperature_c, reading.taken_by) == ("5.4", 21, "Tom")
    assert said(store, gel)[0][1] == "Tom"
    add_note(store, batch.id, NoteForm(note="smells right", who="Ines"))
    assert said(store, gel) == [("note", "Ines", "", "smells right", "")]
    record_yield(store, batch.id, YieldForm(amount="11 g", who="Tom"))
    record_yield(store, batch.id, YieldForm(amount="11.5 g", who="Ines"))
    record_yield(store, batch.id, YieldForm(amount="11.5", who="Tom"))
    assert [one[:4] for one in said(store, gel, 2)] == [
        ("yield", "Tom", "", "11 g"), ("yield", "Ines", "11 g", "11.5 g"),
    ]  # fmt: skip
    decide(store, batch.id, load(store, gel).row_version, BatchDecision(state="quarantine", who="Tom"))
    decide(store, batch.id, load(store, gel).row_version, BatchDecision(state="rejected", who="Ines", why="smells"))
    assert said(store, gel, 2) == [
        ("state", "Tom", "in process", "quarantine", ""), ("state", "Ines", "quarantine", "rejected", "smells"),
    ]  # fmt: skip
    end = load(store, gel)
    assert (end.state, end.decided_by, end.decided_at is not None) == (BatchState.REJECTED, "Ines", True)


def test_a_batch_that_took_too_much_is_raised_by_somebody(store: Store, gel: Any) -> None:
    """Glycerin of 15 g was poured to 18: every line is raised 1.2 times, 500 g to 600."""
    batch = load(store, gel)
    glycerin = batch.lines[1]
    record_weighings(store, batch.id, batch.row_version, [WeighingForm(glycerin.id, "18", "G", sure="18")], who="Tom")
    rescue_batch(store, batch.id, load(store, gel).row_version, who="Ines")
    (what, by, before, after, why) = said(store, gel)[0]
    assert (what, by, before, after) == ("rescued", "Ines", "500 g", "600 g")
    assert "every line raised 1.2 times" in why
    raised = load(store, gel)
    assert [float(line.shown_g) for line in raised.lines] == pytest.approx(
        [1.2 * float(line.shown_g) for line in batch.lines]
    )
    assert (raised.deviations[-1].found_by, raised.deviations[-1].decided_at) == ("Ines", None)
    for old, new in zip(batch.lines, raised.lines, strict=True):
        assert old.high_g is not None
        assert new.high_g is not None
        share = float((old.high_g - old.shown_g) / old.shown_g)
        assert float((new.high_g - new.shown_g) / new.shown_g) == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize(
    ("state", "why", "field"),
    [
        ("planned", "", "state"),
        ("in process", "", "state"),
        ("gone", "", "state"),
        ("rejected", "", "why"),
        ("cancelled", "", "why"),
    ],
)
def test_a_decision_that_cannot_be_is_refused(store: Store, gel: Any, state: str, why: str, field: str) -> None:
    with pytest.raises(Faults) as wrong:
        decide(store, gel.batch_id, load(store, gel).row_version, BatchDecision(state=state, who="Tom", why=why))
    assert list(wrong.value.by_field) == [field]


def test_only_what_was_not_begun_is_cancelled(store: Store, gel: Any) -> None:
    add_reading(store, gel.batch_id, ReadingForm(kind="pH", words="5.4", who="Tom"))
    tick(store, gel.batch_id, [load(store, gel).ticks[0].id], TickForm(who="Tom"))
    with pytest.raises(Conflict, match="rejected, not cancelled"):
        decide(store, gel.batch_id, load(store, gel).row_version, BatchDecision(state="cancelled", who="Tom", why="x"))
    with store.reading() as session:
        assert person_named(session, " Tom ", "who", "x") == "Tom"
        assert session.scalars(select(Batch.state)).one() is BatchState.IN_PROCESS
