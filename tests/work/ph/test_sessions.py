"""A pH session of a batch: guided, refitted, recorded in the batch, and never lost."""

from dataclasses import replace
from decimal import Decimal
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from sqlalchemy import text

from app.science.acid_base.bench import BenchStep, NextMove, open_session
from app.science.acid_base.dosing import ph_after
from app.science.acid_base.refit import METER_OFFSET
from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.formulas import FormulaVersion
from app.store.materials import MaterialRow
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.weighing import WeighingForm, record_weighings
from app.work.form import Faults
from app.work.formulas.draft import DraftLine
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.formulas.versions import read_version
from app.work.ph import sessions
from app.work.ph.droppers import DropsForm, weigh_drops
from app.work.ph.entries import (
    AdditionForm,
    LastEntryForm,
    PhReadingForm,
    SessionRef,
    add_addition,
    add_reading,
    take_back_last,
)
from app.work.ph.formula_update import update_formula
from app.work.ph.session_state import State, model_of, noise_of
from app.work.ph.sessions import SessionForm, end_session, look_at_session, start_session
from app.work.ph.solutions import put_counter_solution_on_shelf


def begin(store: Store, gel: Any, key: str = "start", batch_g: str = "491") -> int:
    typed = SessionForm(str(gel.materials["alkali"]), "6.2", batch_g, "Ines")
    return start_session(store, gel.batch_id, typed, key=key)


def added(grams: str, drops: str = "", **more: str) -> AdditionForm:
    return AdditionForm(grams, drops, who="Ines", **more)


def measured(ph: str, instrument: str = "meter", **more: str) -> PhReadingForm:
    return PhReadingForm(ph, instrument, who="Ines", **more)


def running(store: Store, gel: Any) -> State:
    state = look_at_session(store, gel.batch_id).running
    assert state is not None
    return state


def at(store: Store, gel: Any, key: str = "") -> SessionRef:
    record = running(store, gel).record
    return SessionRef(gel.batch_id, record.id, record.row_version, key)


def batch_of(store: Store, gel: Any) -> Batch:
    with store.reading() as session:
        return load_batch(session, gel.batch_id)


def line(store: Store, gel: Any, word: str) -> Any:
    return next((one for one in batch_of(store, gel).lines if one.material_id == gel.materials[word]), None)


def true_beaker(store: Store, gel: Any, more_polymer: float) -> Any:
    """Give the pH of a beaker whose polymer takes more alkali than the tables say."""
    with store.reading() as session:
        model = model_of(session, load_batch(session, gel.batch_id), running(store, gel))
    lines = tuple(
        replace(one, percent=one.percent * more_polymer) if one.name == "Carbomer" else one
        for one in model.model.mixture.lines
    )
    mixture = replace(model.model.mixture, lines=lines)
    truth = open_session(mixture, model.model.adjusters[0], model.model.adjusters[1], model.target, model.batch_g)

    def ph(alkali_g: Decimal, acid_g: Decimal) -> Decimal:
        dose = np.array([[float(alkali_g), float(acid_g)]]) / model.batch_g
        return Decimal(f"{float(ph_after(truth.model, dose)[0]):.2f}")

    return ph


def read(store: Store, gel: Any, key: str, ph: Decimal) -> None:
    """Read a pH, and once more where the first reading waits for a second."""
    add_reading(store, at(store, gel, key), measured(str(ph), sure=str(ph)))
    step = running(store, gel).step
    if step is not None and step.move is NextMove.MEASURE:
        add_reading(store, at(store, gel, f"{key} again"), measured(str(ph), sure=str(ph)))


def test_the_formulas_own_line_and_target_are_offered_with_what_is_in_the_beaker(
    store: Store, gel: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    form = look_at_session(store, gel.batch_id).start
    assert (form.material_id, form.target, form.batch_g) == (gel.materials["alkali"], "6.2", "491")
    assert {one.material.name for one in form.solutions} == {"Sodium hydroxide 10 %", "Citric acid 20 %"}
    assert "Glycerin, vegetable" in form.planned
    assert form.nothing == ""
    monkeypatch.setattr(sessions, "has_water", lambda _: False)
    assert look_at_session(store, gel.batch_id).start.nothing == sessions.NO_WATER


def test_weights_that_are_taken_down_count_instead_of_planned_ones(store: Store, gel: Any) -> None:
    batch = batch_of(store, gel)
    glycerin = line(store, gel, "glycerin")
    record_weighings(store, batch.id, batch.row_version, [WeighingForm(glycerin.id, "25", "G1")], who="Ines")
    assert look_at_session(store, gel.batch_id).start.batch_g == "501"


@pytest.mark.parametrize("more", [0.8, 1.0, 1.25], ids=["less acid", "as the tables", "more acid"])
@pytest.mark.sqlite
def test_following_the_steps_meets_the_target_without_passing_it_far(store: Store, gel: Any, more: float) -> None:
    begin(store, gel)
    ph = true_beaker(store, gel, more)
    seen = []
    for turn in range(8):
        state = running(store, gel)
        assert state.step is not None
        if state.step.move is NextMove.DONE:
            break
        back = state.step.move is NextMove.BACK
        add_addition(store, at(store, gel, f"a{turn}"), added(f"{state.step.grams:.3f}", back="yes" if back else ""))
        now = running(store, gel)
        seen.append(ph(now.added_g, now.counter_g))
        read(store, gel, f"r{turn}", seen[-1])
    assert abs(seen[-1] - Decimal("6.2")) <= Decimal("0.15")
    assert max(seen) <= Decimal("6.5")


def test_only_a_part_of_the_predicted_total_is_advised_first(store: Store, gel: Any) -> None:
    begin(store, gel)
    step = running(store, gel).step
    assert step is not None
    assert 0 < step.grams < step.total_grams


def test_every_addition_lands_in_the_actual_composition_and_every_reading_in_the_record(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("4.5"))
    add_addition(store, at(store, gel, "2"), added("1,25 g"))
    add_reading(store, at(store, gel, "3"), measured("5.4", "strip", temperature="23"))
    batch = batch_of(store, gel)
    assert line(store, gel, "alkali").actual_g == Decimal("5.75")
    assert [(one.value, one.words, one.temperature_c) for one in batch.readings] == [
        (Decimal("5.4"), "5.4 ± 0.5", Decimal(23))
    ]
    assert batch.state.value == "in process"
    changes = [(one.old, one.new) for one in batch.history if one.what == "Sodium hydroxide 10 %: weight"]
    assert changes == [("", "4.5 g"), ("", "1.25 g")]


def test_the_correction_is_planned_warned_of_and_written_as_a_line_of_its_own(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("14"))
    read(store, gel, "2", true_beaker(store, gel, 1.2)(Decimal(14), Decimal(0)))
    state = running(store, gel)
    assert state.step is not None
    assert (state.step.move, state.step.which) == (NextMove.BACK, 1)
    words = " ".join(state.step.notes)
    assert "gel thins" in words
    assert "mmol of salt" in words
    add_addition(store, at(store, gel, "3"), added("0.9", back="yes"))
    acid = line(store, gel, "acid")
    assert (acid.actual_g, acid.added_at_bench, acid.target_g) == (Decimal("0.9"), True, Decimal(0))
    assert running(store, gel).counter_g == Decimal("0.9")


def test_a_session_that_kept_no_materials_says_which_it_reads_from_the_shelf_of_today(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("4"))
    add_addition(store, at(store, gel, "2"), added("0.1", back="yes"))
    assert running(store, gel).from_today == ()
    with store.transaction() as session:
        session.execute(text("UPDATE ph_session SET materials = ''"))
        session.execute(text("UPDATE batch_line SET material = '' WHERE added_at_bench = 1"))
        acid = session.get_one(MaterialRow, gel.materials["acid"]).name
    assert running(store, gel).from_today == (acid,)


def test_a_restart_in_mid_session_loses_nothing(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("4"))
    add_reading(store, at(store, gel, "2"), measured("5.0"))
    before = running(store, gel)
    store.close()
    again = Store(store.url)
    after = running(again, gel)
    assert (after.added_g, after.step) == (before.added_g, before.step)
    add_addition(again, at(again, gel, "3"), added("1"))
    assert line(again, gel, "alkali").actual_g == Decimal(5)
    again.close()


def test_a_form_sent_twice_is_taken_once(store: Store, gel: Any) -> None:
    assert begin(store, gel) == begin(store, gel)
    place = at(store, gel, "once")
    for _ in range(2):
        add_addition(store, place, added("4"))
    assert line(store, gel, "alkali").actual_g == Decimal(4)
    assert len(running(store, gel).rows) == 1


def test_an_entry_from_a_page_that_is_out_of_date_is_refused(store: Store, gel: Any) -> None:
    begin(store, gel)
    old = at(store, gel, "mine")
    add_addition(store, at(store, gel, "theirs"), added("4"))
    with pytest.raises(Conflict, match="in the meantime"):
        add_addition(store, old, added("2"))
    assert line(store, gel, "alkali").actual_g == Decimal(4)


def test_weights_typed_on_an_older_page_do_not_overwrite_an_addition(store: Store, gel: Any) -> None:
    begin(store, gel)
    before = batch_of(store, gel)
    add_addition(store, at(store, gel, "1"), added("4"))
    with pytest.raises(Conflict):
        record_weighings(store, before.id, before.row_version, [], who="Tom")


def test_a_decided_batch_takes_no_more(store: Store, gel: Any) -> None:
    begin(store, gel)
    place = at(store, gel, "late")
    decide(store, gel.batch_id, batch_of(store, gel).row_version, BatchDecision("rejected", "spilt", "Tom"))
    with pytest.raises(Conflict, match="rejected"):
        add_addition(store, place, added("2"))
    with pytest.raises(Conflict, match="rejected"):
        begin(store, gel, key="another")


def test_a_second_session_waits_until_the_first_has_ended(store: Store, gel: Any) -> None:
    first = begin(store, gel)
    with pytest.raises(Conflict, match="runs already"):
        begin(store, gel, key="second")
    place = at(store, gel)
    end_session(store, gel.batch_id, first, place.row_version, who="Ines")
    assert begin(store, gel, key="second") != first
    with pytest.raises(Conflict, match="ended"):
        add_addition(store, place, added("1"))


def test_a_slip_of_the_pen_is_taken_back_everywhere_and_stays_in_the_history(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("4"))
    add_reading(store, at(store, gel, "2"), measured("5.0"))
    take_back_last(store, at(store, gel, "3"), LastEntryForm("misread", "Ines"))
    assert batch_of(store, gel).readings == []
    take_back_last(store, at(store, gel, "4"), LastEntryForm(who="Ines"))
    assert line(store, gel, "alkali").actual_g is None
    assert running(store, gel).rows == ()
    (gone,) = (one for one in batch_of(store, gel).history if one.why == "misread")
    assert (gone.what, gone.old, gone.by) == ("reading: pH", "5", "Ines")
    with pytest.raises(Invalid, match="nothing to take back"):
        take_back_last(store, at(store, gel, "5"), LastEntryForm(who="Ines"))


def test_drops_are_counted_by_weight(store: Store, gel: Any) -> None:
    begin(store, gel)
    weigh_drops(store, gel.materials["alkali"], DropsForm("Glass pipette", "20", "0.98 g"), key="d")
    dropper = look_at_session(store, gel.batch_id).droppers[0]
    add_addition(store, at(store, gel, "1"), added("", drops="50", dropper_id=str(dropper.id)))
    entry = running(store, gel).rows[0].entry
    assert (entry.grams, entry.drops) == (Decimal("2.45"), Decimal(50))
    with pytest.raises(Faults, match="weighed with this solution"):
        add_addition(store, at(store, gel, "2"), added("", drops="50", dropper_id="999"))


def test_what_was_measured_goes_back_into_the_formula_as_a_version(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("7.365"))
    version_id = update_formula(store, gel.batch_id, session_id, who="Ines", key="k")
    assert update_formula(store, gel.batch_id, session_id, who="Ines", key="k") == version_id
    with store.reading() as session:
        made = read_version(session, version_id)
        draft = open_draft(session, gel.formula_id)
        note = session.get_one(FormulaVersion, version_id).note
    percent = {one.name: one.percent for one in made.lines}
    assert percent["Sodium hydroxide 10 %"] == Decimal("1.4778")
    assert percent["Glycerin, vegetable"] == Decimal(3)
    assert sum(percent.values()) == 100
    assert note == f"As made, batch {batch_of(store, gel).number}"
    assert draft.undo == note


def test_a_batch_that_needed_what_the_formula_says_makes_no_new_version(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("9"))
    with pytest.raises(Invalid, match="Nothing changed since version 1"):
        update_formula(store, gel.batch_id, session_id, who="Ines")


def test_what_the_correction_cancelled_is_not_counted(store: Store, gel: Any) -> None:
    """The formula gets the dose of alkali alone that leads to the pH the corrected batch has."""
    session_id = begin(store, gel)
    ph = true_beaker(store, gel, 1.0)
    add_addition(store, at(store, gel, "1"), added("14"))
    read(store, gel, "2", ph(Decimal(14), Decimal(0)))
    add_addition(store, at(store, gel, "3"), added("4", back="yes"))
    now = ph(Decimal(14), Decimal(4))
    read(store, gel, "4", now)
    version_id = update_formula(store, gel.batch_id, session_id, who="Ines")
    with store.reading() as session:
        made = read_version(session, version_id)
    grams = next(one.percent for one in made.lines if one.name == "Sodium hydroxide 10 %") * 5
    assert grams < 12
    assert abs(ph(grams, Decimal(0)) - now) < Decimal("0.15")
    assert "Citric acid 20 %" not in {one.name for one in made.lines}


def test_what_was_weighed_with_the_batch_and_in_earlier_sessions_is_counted(store: Store, gel: Any) -> None:
    """By hand: 3 g with the batch, 2 g and 2.365 g in two sessions are 7.365 g in 498.365 g, 1.4778 %."""
    batch = batch_of(store, gel)
    alkali = line(store, gel, "alkali")
    record_weighings(store, batch.id, batch.row_version, [WeighingForm(alkali.id, "3", "N1")], who="Ines")
    first = begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("2"))
    end_session(store, gel.batch_id, first, at(store, gel).row_version, who="Ines")
    second = begin(store, gel, key="second")
    add_addition(store, at(store, gel, "2"), added("2.365"))
    end_session(store, gel.batch_id, second, at(store, gel).row_version, who="Ines")
    shown = look_at_session(store, gel.batch_id).updates[second]
    assert (shown.in_sessions_g, shown.grams, shown.whole_g) == (Decimal("2.365"), Decimal("7.365"), Decimal("498.365"))
    assert shown.percent == Decimal("1.4778")
    version_id = update_formula(store, gel.batch_id, second, who="Ines")
    with store.reading() as session:
        made = {one.name: one.percent for one in read_version(session, version_id).lines}
    assert made["Sodium hydroxide 10 %"] == Decimal("1.4778")


def test_an_acid_that_was_planned_and_not_added_leaves_the_formula(store: Store, gel: Any) -> None:
    with store.reading() as session:
        current = open_draft(session, gel.formula_id)
    acid = DraftLine("acid", "a", "Citric acid 20 %", None, "0.3")
    draft = replace(current.draft, lines=(*current.draft.lines, acid))
    save_draft(store, gel.formula_id, draft, SaveOrigin(current.row_version, "t"))
    batch_id = plan_batch(store, Plan(gel.formula_id, None, "500 g", planned_on="2026-11-25", made_by="Ines"))
    gel = replace(gel, batch_id=batch_id)
    session_id = begin(store, gel, batch_g="489.5")
    add_addition(store, at(store, gel, "1"), added("8"))
    end_session(store, gel.batch_id, session_id, at(store, gel).row_version, who="Ines")
    assert look_at_session(store, gel.batch_id).updates[session_id].left_out == ("Citric acid 20 %",)
    version_id = update_formula(store, gel.batch_id, session_id, who="Ines")
    with store.reading() as session:
        made = {one.name: one.percent for one in read_version(session, version_id).lines}
    assert "Citric acid 20 %" not in made
    assert sum(made.values()) == 100


def test_a_reading_far_from_what_is_expected_is_asked_about_and_advises_nothing(store: Store, gel: Any) -> None:
    begin(store, gel)
    ph = true_beaker(store, gel, 1.0)
    add_addition(store, at(store, gel, "1"), added("4"))
    right = ph(Decimal(4), Decimal(0))
    with pytest.raises(Invalid, match=rf"You typed 8.5; about {right:.1f} was expected. Is it 8.5\?") as told:
        add_reading(store, at(store, gel, "2"), measured("8.5"))
    assert told.value.field == "sure"
    add_reading(store, at(store, gel, "3"), measured("8.5", sure="8.5"))
    step = running(store, gel).step
    assert (step.move, step.grams, step.total_grams) == (NextMove.MEASURE, 0, 0)
    add_reading(store, at(store, gel, "4"), measured(str(right)))
    assert running(store, gel).step.move is NextMove.ADD
    assert [one.value for one in batch_of(store, gel).readings] == [Decimal("8.5"), right]


@pytest.mark.parametrize(("grams", "field"), [("491", ""), ("491.01", "grams"), ("0.4911 kg", "grams")])
def test_no_more_is_added_than_is_in_the_beaker(store: Store, grams: str, field: str) -> None:
    form = added(grams)
    with store.reading() as session:
        if field:
            with pytest.raises(Faults) as told:
                form.amount_g(session, 1, Decimal(491))
            assert list(told.value.by_field) == [field]
        else:
            assert form.amount_g(session, 1, Decimal(491)) == 491


@pytest.mark.parametrize("grams", ["1e9", "1000000000", "491.1", "0", "-1"])
def test_an_addition_that_cannot_be_is_refused(store: Store, gel: Any, grams: str) -> None:
    begin(store, gel)
    with pytest.raises(Faults) as told:
        add_addition(store, at(store, gel, "1"), added(grams))
    assert list(told.value.by_field) == ["grams"]


def test_the_record_of_a_session_is_the_same_whatever_becomes_of_its_solution(store: Store, gel: Any) -> None:
    """A solution may be made stronger, turned into something else or retired; what was done stays as it was."""
    session_id = begin(store, gel)
    add_addition(store, at(store, gel, "1"), added("14"))
    read(store, gel, "2", true_beaker(store, gel, 1.0)(Decimal(14), Decimal(0)))
    add_addition(store, at(store, gel, "3"), added("4", back="yes"))
    end_session(store, gel.batch_id, session_id, at(store, gel).row_version, who="Ines")
    before = look_at_session(store, gel.batch_id).ended[0]
    for change in (
        "UPDATE material_part SET percent = '20' WHERE inci = 'Sodium Hydroxide'",
        "UPDATE material_part SET inci = 'Sodium Chloride' WHERE inci IN ('Sodium Hydroxide', 'Citric Acid')",
        "UPDATE material SET name = name || ' new', name_key = name_key || ' NEW'",
        "UPDATE material SET retired_at = '2026-11-25T10:00:00+00:00'",
    ):
        with store.transaction() as session:
            session.execute(text(change))
        after = look_at_session(store, gel.batch_id).ended[0]
        assert (after.name, after.added_g, after.counter_g, after.why_not) == (before.name, 14, 4, "")
        assert after.curve == before.curve
        assert after.refitted == before.refitted
        assert [row.material for row in after.rows] == [row.material for row in before.rows]


def test_a_reading_is_one_row_with_its_uncertainty(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_reading(store, at(store, gel, "1"), measured("3.3", "strip"))
    with store.reading() as session:
        stored = session.execute(text("SELECT value, uncertainty, session_id, place FROM batch_reading")).all()
    assert stored == [("3.3", "0.5", 1, 1)]


@pytest.mark.parametrize("uncertainty", ["0.2", "0.5", "1.5"])
def test_a_stated_uncertainty_covers_nine_readings_in_ten(uncertainty: str) -> None:
    whole = float(np.hypot(noise_of(Decimal(uncertainty)), METER_OFFSET))
    assert 2 * NormalDist().cdf(float(uncertainty) / whole) - 1 == pytest.approx(0.9, abs=1e-3)


def test_nothing_added_is_nothing_to_take_back(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    with pytest.raises(Invalid, match="Nothing was added"):
        update_formula(store, gel.batch_id, session_id, who="Ines")


def test_a_counter_solution_is_put_on_the_shelf_once(store: Store, gel: Any) -> None:
    assert put_counter_solution_on_shelf(store, "Citric Acid") == put_counter_solution_on_shelf(store, "Citric Acid")


@pytest.mark.parametrize(
    ("move", "expected", "met"),
    [(NextMove.STOP, 6.25, True), (NextMove.STOP, 7.4, False), (NextMove.ADD, 6.25, False)],
    ids=["the model sees it met", "nothing reaches it", "something is left to add"],
)
def test_a_stop_at_the_target_asks_for_one_more_reading(
    store: Store, gel: Any, move: NextMove, expected: float, met: bool
) -> None:
    begin(store, gel)
    step = BenchStep(move, 0, 0.5, 0.5, 0.4, 0.6, expected, 1.0)
    assert replace(running(store, gel), step=step).met_by_the_model is met


@pytest.mark.parametrize(("grams", "little"), [(0.004, True), (0.5, False), (0.0, False)])
def test_an_addition_that_no_scale_shows_is_said_to_be_one(store: Store, gel: Any, grams: float, little: bool) -> None:
    begin(store, gel)
    step = BenchStep(NextMove.ADD, 0, grams, grams, grams, grams, 6.0, 1.0)
    assert replace(running(store, gel), step=step).too_little_to_weigh is little


def test_what_cannot_be_stands_at_its_field_and_what_just_can_is_taken(store: Store, gel: Any) -> None:
    begin(store, gel)
    weigh_drops(store, gel.materials["alkali"], DropsForm("Pipette", "20", "0.98 g"), key="d")
    dropper = str(look_at_session(store, gel.batch_id).droppers[0].id)
    additions = {
        "grams": [added(""), added("some")],
        "drops": [added(*one, dropper_id=dropper) for one in (("4", "20"), ("", "0.9"), ("", "5001"))],
    }
    readings = {
        "ph": [measured(ph) for ph in ("", "-0.1", "14.1")],
        "uncertainty": [measured("5", "own", uncertainty=wide) for wide in ("", "0.009", "3.1")],
        "temperature": [measured("5", temperature=warmth) for warmth in ("-1", "101")],
    }
    for add, wrong in ((add_addition, additions), (add_reading, readings)):
        for field, cases in wrong.items():
            for typed in cases:
                with pytest.raises(Faults) as told:
                    add(store, at(store, gel), typed)
                assert list(told.value.by_field) == [field], typed
    with pytest.raises(Faults) as told:
        add_addition(store, at(store, gel), AdditionForm("", "20", dropper))
    assert list(told.value.by_field) == ["who"]
    for ph, wide, warmth in (("0", "0.01", "0"), ("14", "3", "100")):
        add_reading(store, at(store, gel), measured(ph, "own", uncertainty=wide, temperature=warmth, sure=ph))
    add_addition(store, at(store, gel), added("491"))
    batch = batch_of(store, gel)
    assert [(str(r.value), str(r.uncertainty), str(r.temperature_c), r.taken_by, r.place) for r in batch.readings] == [
        ("0", "0.01", "0", "Ines", 1), ("14", "3", "100", "Ines", 2),
    ]  # fmt: skip
    (weighing,) = line(store, gel, "alkali").weighings
    assert (weighing.grams, weighing.by, weighing.place) == (Decimal(491), "Ines", 3)


def test_an_addition_keeps_what_was_advised_for_it_and_the_lot_of_its_line(store: Store, gel: Any) -> None:
    batch, alkali = batch_of(store, gel), line(store, gel, "alkali")
    record_weighings(store, batch.id, batch.row_version, [WeighingForm(alkali.id, "3", "N1", sure="3")], who="Tom")
    begin(store, gel)
    step = running(store, gel).step
    assert step is not None
    add_addition(store, at(store, gel), added("2"))
    add_addition(store, at(store, gel), added("0.1", back="yes"))
    _, forward = line(store, gel, "alkali").weighings
    assert (forward.advised_g, forward.lot_text, forward.by) == (Decimal(f"{step.grams:.4f}"), "N1", "Ines")
    (back,) = line(store, gel, "acid").weighings
    assert back.advised_g is None
    take_back_last(store, at(store, gel), LastEntryForm(who="Ines"))
    gone = line(store, gel, "acid").weighings[-1]
    assert (gone.by, gone.reason, gone.replaces_id) == ("Ines", "typing error", back.id)
