"""A dose for a batch: grams by what a batch holds, what is left after readings, and the words beside the figures."""

from dataclasses import replace

import numpy as np
import pytest

from app.science.acid_base.advice import DoseAdvice, ask_dose, undissolved_words
from app.science.acid_base.bench import AGREE, MEASURE_TWICE, NextMove, next_step, open_session, trusted_readings
from app.science.acid_base.dosing import ph_after
from app.science.acid_base.model import compile_model
from app.science.acid_base.refit import MeterReading
from app.science.acid_base.validity import METER
from app.science.acid_base.values import MixtureLine, Reserve
from app.science.errors import Invalid


@pytest.fixture(scope="module")
def ask(mix, solution):
    def ask(*lines, target=5.5, batch_g=200.0, readings=(), by=("Sodium Hydroxide", 10), back=None) -> DoseAdvice:
        adjusters = [solution(*one) for one in (by, back) if one]
        return ask_dose(mix(*lines), adjusters, target, batch_g, readings)

    return ask


CITRIC = ("Citric Acid", 0.5)


def test_the_dose_scales_with_the_batch_and_brings_the_model_to_the_target(ask, mix, solution):
    small, large = ask(CITRIC, batch_g=100), ask(CITRIC, batch_g=1000)
    for field in ("grams", "low_grams", "high_grams", "first_addition_g"):
        assert getattr(large, field) == pytest.approx(10 * getattr(small, field))
    assert (large.start_ph, large.remaining_g) == (pytest.approx(small.start_ph), None)
    model = compile_model(mix(CITRIC), (solution("Sodium Hydroxide", 10),))
    assert float(ph_after(model, np.array([[small.grams / 100]]))[0]) == pytest.approx(5.5, abs=0.001)
    assert small.low_grams < small.grams < small.high_grams
    assert small.first_addition_g == pytest.approx(0.85 * small.grams)  # the usual safe part
    assert small.curve[-1].grams > small.grams
    assert METER in small.notes


def test_equivalents_say_the_dose_where_an_acid_is_all_but_neutralised(ask):
    """By hand: 0.5 g of citric acid (192.12 g/mol, three protons) takes 3.12 g of 10 % sodium hydroxide (39.997)."""
    assert ask(CITRIC, target=7.5, batch_g=100).grams == pytest.approx(0.5 / 192.12 * 3 * 39.997 / 0.1, rel=0.03)


def test_a_batch_that_is_there_needs_nothing_and_one_out_of_reach_gets_no_figure(ask):
    start = ask(CITRIC).start_ph
    done = ask(CITRIC, target=round(start, 3))
    assert (done.grams, done.first_addition_g) == (0, 0)
    assert done.notes[0] == f"The predicted pH is {start:.2f} already: no dose is needed."
    up = ask(CITRIC, target=9.0, by=("Citric Acid", 10))
    assert (up.grams, up.low_grams, up.high_grams, up.first_addition_g) == (None, None, None, None)
    assert "does not bring the pH up from" in up.notes[0]
    assert f"nearest reachable pH is {start:.2f}, without any" in up.notes[0]
    down = ask(CITRIC, target=1.5)
    assert "does not bring the pH down from" in down.notes[0]
    far = ask(("Sodium Hydroxide", 0.2), target=1.5, by=("Citric Acid", 1))
    assert far.grams is None
    assert far.notes[0].startswith("pH 1.5 cannot be reached with this solution of Citric Acid")


def test_a_solution_stronger_than_dissolves_is_refused_but_a_dry_addition_is_not(ask, solution):
    acid = solution("Citric Acid", 10)
    limited = replace(acid, substance=replace(acid.substance, soluble_percent=40.0))

    def refused(percent: float, most: float | None = 40.0) -> bool:
        one = replace(limited, strength_percent=percent, substance=replace(limited.substance, soluble_percent=most))
        return bool(undissolved_words(one))

    assert not refused(40.8)  # a solution called 40 % is not refused for a decimal
    assert refused(40.9)
    assert refused(98.9)
    assert not refused(99.0)
    assert not refused(90.0, None)
    assert not refused(99.0, 1.0)
    assert refused(99.0, 0.9)
    assert "A 50 % solution of Citric Acid cannot be made: water dissolves about 40 %" in undissolved_words(
        replace(limited, strength_percent=50.0)
    )


def test_a_solution_that_cannot_be_made_gets_no_dose_unless_none_is_needed(mix, solution):
    acid = solution("Citric Acid", 90)
    told = ask_dose(mix(("Sodium Hydroxide", 0.1)), [acid], 5.0, 100)
    assert told.grams is None
    assert "cannot be made" in told.notes[0]
    start = ask_dose(mix(CITRIC), [acid], 5.0, 100).start_ph
    there = ask_dose(mix(CITRIC), [acid], start, 100)
    assert there.grams == 0
    assert not any("cannot be made" in note for note in there.notes)


def test_a_steep_curve_and_a_large_dose_are_said(ask):
    steep, flat = "moves steeply here", "more than a tenth of the batch"
    plain = ask(CITRIC, target=4.5).notes
    assert not any(steep in note or flat in note for note in plain)
    assert any(steep in note for note in ask(target=8.0).notes)  # water alone
    some = ask(target=5.0, by=("Citric Acid", 10))
    assert 0.6 < some.first_addition_g / some.grams < 0.8
    assert not any(steep in note for note in some.notes)
    weak = ask(("Citric Acid", 5), target=5.5, by=("Sodium Hydroxide", 10))
    assert weak.grams > 20  # of 200
    assert any(flat in note for note in weak.notes)
    strong = ask(("Citric Acid", 5), target=5.5, by=("Sodium Hydroxide", 50))
    assert strong.grams < 20
    assert not any(flat in note for note in strong.notes)


def test_after_readings_as_predicted_what_is_left_is_the_rest_of_the_dose(ask, mix, solution):
    whole = ask(CITRIC)
    model = compile_model(mix(CITRIC), (solution("Sodium Hydroxide", 10),))
    shown = float(ph_after(model, np.array([[whole.grams / 2 / 200]]))[0])
    told = ask(CITRIC, readings=[(whole.grams / 2, shown)])
    assert told.remaining_g == pytest.approx(whole.grams / 2, rel=0.02)
    assert told.grams == pytest.approx(whole.grams, rel=0.02)
    assert told.first_addition_g <= told.remaining_g
    assert "after Sodium Hydroxide as added so far it sees pH" in told.notes[0]
    part = [note for note in told.notes if note.startswith("Of what is left, add")]
    assert bool(part) is (told.first_addition_g <= 0.95 * told.remaining_g)
    near = ask(CITRIC, readings=[(whole.grams * 0.9, 4.9)])
    assert near.first_addition_g > 0.95 * near.remaining_g > 0
    assert not any("Of what is left" in note for note in near.notes)
    # In any order, and the later of two at the same grams last.
    early = (0.0, whole.start_ph)
    one, other = (
        ask(CITRIC, readings=both) for both in ([(whole.grams / 2, shown), early], [early, (whole.grams / 2, shown)])
    )
    assert one == other


def test_a_passed_target_is_corrected_with_the_other_solution(ask, mix, solution):
    model = compile_model(mix(CITRIC), (solution("Sodium Hydroxide", 10), solution("Citric Acid", 10)))
    shown = float(ph_after(model, np.array([[0.03, 0.0]]))[0])
    told = ask(CITRIC, readings=[(6.0, shown)], back=("Citric Acid", 10))
    assert told.remaining_g == 0
    assert told.notes[0].startswith("The target was passed. To correct it, add about")
    assert "g of Citric Acid 10 %" in told.notes[0]
    grams = float(told.notes[0].split("add about ")[1].split(" g ")[0])
    corrected = float(ph_after(model, np.array([[0.03, grams / 200]]))[0])
    assert corrected == pytest.approx(5.5, abs=0.05)
    assert not any("gel thins" in note for note in told.notes)
    alone = ask(CITRIC, readings=[(6.0, shown)])
    assert alone.notes[0].startswith("No more Sodium Hydroxide is needed, or none brings the batch there: nearest pH")
    assert alone.remaining_g == 0


def test_a_doubtful_reading_is_asked_about_and_nothing_is_advised_on_it(ask):
    whole = ask(CITRIC)
    told = ask(CITRIC, readings=[(0.0, 8.0)])
    assert (told.first_addition_g, told.remaining_g) == (0, None)
    assert told.notes[0] == f"8 was read where about {whole.start_ph:.1f} was expected. {MEASURE_TWICE}"
    assert told.grams == pytest.approx(whole.grams, rel=0.05)
    unreachable = ask(CITRIC, readings=[(0.0, 8.0)], target=1.5)
    assert unreachable.first_addition_g is None


def test_what_holds_the_ph_itself_is_refused_until_it_is_measured(mix, solution):
    soap = MixtureLine("Soap", 5.0, reserve=Reserve(holds_ph="soap", words="soap", withhold_above=5.0))
    holding = replace(mix(CITRIC), lines=(*mix(CITRIC).lines, soap))
    with pytest.raises(Invalid, match="Soap holds the pH itself"):
        ask_dose(holding, [solution("Citric Acid", 10)], 5.0, 100)
    assert ask_dose(holding, [solution("Citric Acid", 10)], 2.0, 100, [(0.0, 2.5)]).remaining_g is not None
    little = replace(holding, lines=(*mix(CITRIC).lines, replace(soap, percent=4.9)))
    assert ask_dose(little, [solution("Sodium Hydroxide", 10)], 5.0, 100).grams is not None


# At the bench


def test_a_second_reading_confirms_within_three_tenths_of_a_ph_at_the_same_doses(mix, solution):
    session = open_session(
        mix(("Lactic Acid", 5, 88)), solution("Sodium Hydroxide", 10), solution("Citric Acid", 10), 4.0, 250
    )
    assert AGREE == 0.3
    first = MeterReading((0.0, 0.0), 8.0)
    for second, trusted, waits in (
        (MeterReading((0.0, 0.0), 8.29), 2, False),
        (MeterReading((0.0, 0.0), 8.31), 0, True),
        (MeterReading((0.001, 0.0), 8.1), 0, True),
        (MeterReading((0.0, 0.0), 2.2), 1, False),
    ):
        believed, doubtful = trusted_readings(session, [first, second])
        assert (len(believed), doubtful is not None) == (trusted, waits)


@pytest.mark.parametrize(("ph", "done"), [(6.36, True), (6.64, True), (6.34, False), (6.66, False)])
def test_a_session_ends_within_fifteen_hundredths_of_the_target(mix, solution, ph, done):
    session = open_session(
        mix(("Carbomer", 0.5)), solution("Sodium Hydroxide", 10), solution("Citric Acid", 10), 6.5, 250
    )
    step = next_step(session, (3.6, 0.0), [MeterReading((3.6 / 250, 0.0), ph)])
    assert (step.move is NextMove.DONE) is done


def test_a_step_shows_the_ph_that_its_addition_leads_to(mix, solution):
    session = open_session(mix(CITRIC), solution("Sodium Hydroxide", 10), solution("Citric Acid", 10), 5.0, 250)
    step = next_step(session, (0.0, 0.0))
    assert step.move is NextMove.ADD
    assert step.expected_ph == pytest.approx(float(ph_after(session.model, np.array([[step.grams / 250, 0.0]]))[0]))
    assert 0 < step.grams <= step.total_grams
    assert step.low_grams < step.total_grams < step.high_grams
    more = next_step(
        open_session(mix(CITRIC), solution("Sodium Hydroxide", 10), solution("Citric Acid", 10), 5.0, 500), (0.0, 0.0)
    )
    assert more.total_grams == pytest.approx(2 * step.total_grams)
