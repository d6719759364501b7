"""A pH session of a batch: guided, refitted, recorded in the batch, and never lost."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from app.science.acid_base.bench import Move, Step, open_session
from app.science.acid_base.dosing import ph_after
from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.formulas import FormulaVersion
from app.work.batches.deciding import decide
from app.work.batches.loading import load_batch
from app.work.batches.weighing import Weighed, record_weighings
from app.work.formulas.deeds import open_draft
from app.work.formulas.versions import read_version
from app.work.ph.as_made import take_as_made
from app.work.ph.droppers import weigh_drops
from app.work.ph.entries import At, TypedAddition, TypedReading, add_addition, add_reading, take_back_last
from app.work.ph.session_state import State, model_of
from app.work.ph.sessions import Start, end_session, look_at_session, start_session
from app.work.ph.solutions import put_way_back_on_shelf
from app.work.typed import Faults


def begin(store: Store, gel: Any, **changed: Any) -> int:
    typed = replace(Start(gel.materials["alkali"], "6.2", "491", "Ines", "start"), **changed)
    return start_session(store, gel.batch_id, typed)


def running(store: Store, gel: Any) -> State:
    state = look_at_session(store, gel.batch_id).running
    assert state is not None
    return state


def at(store: Store, gel: Any, key: str = "") -> At:
    record = running(store, gel).record
    return At(gel.batch_id, record.id, record.row_version, "Ines", key)


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


def test_the_formulas_own_line_and_target_are_offered_with_what_is_in_the_beaker(store: Store, gel: Any) -> None:
    form = look_at_session(store, gel.batch_id).start
    assert (form.material_id, form.target, form.batch_g) == (gel.materials["alkali"], "6.2", "491")
    assert {one.material.name for one in form.solutions} == {"Sodium hydroxide 10 %", "Citric acid 20 %"}
    assert "Glycerin, vegetable" in form.planned


def test_weights_that_are_taken_down_count_instead_of_planned_ones(store: Store, gel: Any) -> None:
    batch = batch_of(store, gel)
    glycerin = line(store, gel, "glycerin")
    record_weighings(store, batch.id, batch.row_version, [Weighed(glycerin.id, "25", "G1", "I")], who="Ines")
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
        if state.step.move is Move.DONE:
            break
        back = state.step.move is Move.BACK
        add_addition(store, at(store, gel, f"a{turn}"), TypedAddition(f"{state.step.grams:.3f}", back=back))
        now = running(store, gel)
        seen.append(ph(now.added_g, now.back_g))
        add_reading(store, at(store, gel, f"r{turn}"), TypedReading(str(seen[-1]), temperature="22"))
    assert abs(seen[-1] - Decimal("6.2")) <= Decimal("0.15")
    assert max(seen) <= Decimal("6.5")


def test_only_a_part_of_the_predicted_total_is_advised_first(store: Store, gel: Any) -> None:
    begin(store, gel)
    step = running(store, gel).step
    assert step is not None
    assert 0 < step.grams < step.total_grams


def test_every_addition_lands_in_the_actual_composition_and_every_reading_in_the_record(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("4.5"))
    add_addition(store, at(store, gel, "2"), TypedAddition("1,25 g"))
    add_reading(store, at(store, gel, "3"), TypedReading("5.4", "strip", temperature="23"))
    batch = batch_of(store, gel)
    assert line(store, gel, "alkali").actual_g == Decimal("5.75")
    assert [(one.value, one.words, one.temperature_c) for one in batch.readings] == [
        (Decimal("5.4"), "5.4 ± 0.5", Decimal(23))
    ]
    assert batch.state.value == "in process"
    changes = [(one.old, one.new) for one in batch.history if one.what == "Sodium hydroxide 10 %: weight"]
    assert changes == [("", "4.5 g"), ("4.5 g", "5.75 g")]


def test_the_way_back_is_planned_warned_of_and_written_as_a_line_of_its_own(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("14"))
    add_reading(store, at(store, gel, "2"), TypedReading("8.1"))
    state = running(store, gel)
    assert state.step is not None
    assert (state.step.move, state.step.which) == (Move.BACK, 1)
    words = " ".join(state.step.notes)
    assert "gel thins" in words
    assert "mmol of salt" in words
    add_addition(store, at(store, gel, "3"), TypedAddition("0.9", back=True))
    acid = line(store, gel, "acid")
    assert (acid.actual_g, acid.added_at_bench, acid.target_g) == (Decimal("0.9"), True, Decimal(0))
    assert running(store, gel).back_g == Decimal("0.9")


def test_a_restart_in_mid_session_loses_nothing(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("4"))
    add_reading(store, at(store, gel, "2"), TypedReading("5.0"))
    before = running(store, gel)
    store.close()
    again = Store(store.url)
    after = running(again, gel)
    assert (after.added_g, after.step) == (before.added_g, before.step)
    add_addition(again, at(again, gel, "3"), TypedAddition("1"))
    assert line(again, gel, "alkali").actual_g == Decimal(5)
    again.close()


def test_a_form_sent_twice_is_taken_once(store: Store, gel: Any) -> None:
    assert begin(store, gel) == begin(store, gel)
    place = at(store, gel, "once")
    for _ in range(2):
        add_addition(store, place, TypedAddition("4"))
    assert line(store, gel, "alkali").actual_g == Decimal(4)
    assert len(running(store, gel).rows) == 1


def test_an_entry_from_a_page_that_is_out_of_date_is_refused(store: Store, gel: Any) -> None:
    begin(store, gel)
    old = at(store, gel, "mine")
    add_addition(store, at(store, gel, "theirs"), TypedAddition("4"))
    with pytest.raises(Conflict, match="in the meantime"):
        add_addition(store, old, TypedAddition("2"))
    assert line(store, gel, "alkali").actual_g == Decimal(4)


def test_weights_typed_on_an_older_page_do_not_overwrite_an_addition(store: Store, gel: Any) -> None:
    begin(store, gel)
    before = batch_of(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("4"))
    with pytest.raises(Conflict):
        record_weighings(store, before.id, before.row_version, [], who="Tom")


def test_a_decided_batch_takes_no_more(store: Store, gel: Any) -> None:
    begin(store, gel)
    place = at(store, gel, "late")
    decide(store, gel.batch_id, batch_of(store, gel).row_version, state="rejected", who="Tom", why="spilt")
    with pytest.raises(Conflict, match="rejected"):
        add_addition(store, place, TypedAddition("2"))
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
        add_addition(store, place, TypedAddition("1"))


def test_a_slip_of_the_pen_is_taken_back_everywhere_and_stays_in_the_history(store: Store, gel: Any) -> None:
    begin(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("4"))
    add_reading(store, at(store, gel, "2"), TypedReading("5.0"))
    take_back_last(store, at(store, gel, "3"), "misread")
    assert batch_of(store, gel).readings == []
    take_back_last(store, at(store, gel, "4"))
    assert line(store, gel, "alkali").actual_g is None
    assert running(store, gel).rows == ()
    assert "misread" in {one.why for one in batch_of(store, gel).history}
    with pytest.raises(Invalid, match="nothing to take back"):
        take_back_last(store, at(store, gel, "5"))


def test_drops_are_counted_by_weight(store: Store, gel: Any) -> None:
    begin(store, gel)
    weigh_drops(store, gel.materials["alkali"], dropper="Glass pipette", drops="20", grams="0.98 g", key="d")
    dropper = look_at_session(store, gel.batch_id).droppers[0]
    add_addition(store, at(store, gel, "1"), TypedAddition("", "50", dropper.id))
    entry = running(store, gel).rows[0].entry
    assert (entry.grams, entry.drops) == (Decimal("2.45"), Decimal(50))
    with pytest.raises(Faults, match="weighed with this solution"):
        add_addition(store, at(store, gel, "2"), TypedAddition("", "50", 999))


def test_what_was_measured_goes_back_into_the_formula_as_a_version(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    add_addition(store, at(store, gel, "1"), TypedAddition("7.365"))
    version_id = take_as_made(store, gel.batch_id, session_id, who="Ines", key="k")
    assert take_as_made(store, gel.batch_id, session_id, who="Ines", key="k") == version_id
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
    add_addition(store, at(store, gel, "1"), TypedAddition("9"))
    with pytest.raises(Invalid, match="Nothing changed since version 1"):
        take_as_made(store, gel.batch_id, session_id, who="Ines")


def test_after_a_way_back_the_fitted_dose_is_taken_not_what_was_poured(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    ph = true_beaker(store, gel, 1.0)
    add_addition(store, at(store, gel, "1"), TypedAddition("14"))
    add_reading(store, at(store, gel, "2"), TypedReading(str(ph(Decimal(14), Decimal(0)))))
    add_addition(store, at(store, gel, "3"), TypedAddition("1", back=True))
    version_id = take_as_made(store, gel.batch_id, session_id, who="Ines")
    with store.reading() as session:
        made = read_version(session, version_id)
    grams = next(one.percent for one in made.lines if one.name == "Sodium hydroxide 10 %") * 5
    assert abs(ph(grams, Decimal(0)) - Decimal("6.2")) < Decimal("0.15")
    assert "Citric acid 20 %" not in {one.name for one in made.lines}


def test_nothing_added_is_nothing_to_take_back(store: Store, gel: Any) -> None:
    session_id = begin(store, gel)
    with pytest.raises(Invalid, match="Nothing was added"):
        take_as_made(store, gel.batch_id, session_id, who="Ines")


def test_a_way_back_is_put_on_the_shelf_once(store: Store, gel: Any) -> None:
    assert put_way_back_on_shelf(store, "Citric Acid") == put_way_back_on_shelf(store, "Citric Acid")


@pytest.mark.parametrize(
    ("move", "expected", "met"),
    [(Move.STOP, 6.25, True), (Move.STOP, 7.4, False), (Move.ADD, 6.25, False)],
    ids=["the model sees it met", "nothing reaches it", "something is left to add"],
)
def test_a_stop_at_the_target_asks_for_one_more_reading(
    store: Store, gel: Any, move: Move, expected: float, met: bool
) -> None:
    begin(store, gel)
    step = Step(move, 0, 0.5, 0.5, 0.4, 0.6, expected, 1.0)
    assert replace(running(store, gel), step=step).met_by_the_model is met


@pytest.mark.parametrize(("grams", "little"), [(0.004, True), (0.5, False), (0.0, False)])
def test_an_addition_that_no_scale_shows_is_said_to_be_one(store: Store, gel: Any, grams: float, little: bool) -> None:
    begin(store, gel)
    step = Step(Move.ADD, 0, grams, grams, grams, grams, 6.0, 1.0)
    assert replace(running(store, gel), step=step).too_little_to_weigh is little
