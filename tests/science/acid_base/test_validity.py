"""Where the pH model holds: each sentence is said from its bound on, and not just short of it."""

from dataclasses import replace

import pytest

from app.science.acid_base.model import compile_model
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.validity import (
    carbonate_notes,
    crystal_notes,
    held_by,
    model_half_width,
    prediction_notes,
    solution_notes,
    water_share,
    why_withheld,
)
from app.science.acid_base.values import Influence, Mixture, MixtureLine, Range, Reserve, SpeciesAmount

NARROW = Range(5.0, 4.9, 5.1)


def said(notes, word):
    return any(word in note for note in notes)


@pytest.mark.parametrize(
    ("ionic", "half"),
    [(0.0, 0.05), (0.1, 0.05), (0.15, 0.065), (0.2, 0.08), (0.35, 0.13), (0.5, 0.18), (1.0, 0.5), (2.0, 1.0), (9, 1.0)],
)
def test_the_model_is_as_wide_as_its_misses_on_published_buffers(ionic, half):
    assert model_half_width(ionic) == pytest.approx(half)


@pytest.mark.parametrize(
    ("ionic", "word"), [(0.5, ""), (0.501, "above 0.5"), (1.0, "above 0.5"), (1.001, "above 1"), (3.0, "is 3.0")]
)
def test_a_strong_solution_is_said_to_be_one(mix, ionic, word):
    notes = solution_notes(compile_model(mix(("Sodium Citrate", 1.0))), ionic)
    assert said(notes, "ionic strength") is bool(word)
    assert said(notes, word) or not word


def test_the_share_of_water_counts_what_alcohol_is_in_a_solution_of_it(mix):
    # 20 g of a spirit of 50 %: 10 g of alcohol beside 80 + 10 g of water, 90 %.
    spirit = MixtureLine("Alcohol", 20.0, assay_percent=50.0, is_solvent=True)
    mixture = Mixture((spirit, MixtureLine("Betaine", 5.0)), 80.0)
    assert water_share(mixture, 90.0) == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("glycerin", "warned", "withheld"),
    [(29.9, False, ""), (30.1, True, ""), (49.9, True, ""), (50.1, True, "outweigh")],
)
def test_much_alcohol_warns_and_more_than_water_leaves_no_number(mix, glycerin, warned, withheld):
    model = compile_model(mix(("Glycerin", glycerin)))
    assert said(solution_notes(model, 0.0), "Water is only") is warned
    assert withheld in why_withheld(model, NARROW, ())
    assert bool(why_withheld(model, NARROW, ())) is bool(withheld)


@pytest.mark.parametrize(("oil", "dry"), [(94.9, False), (95.1, True)])
def test_with_less_than_five_percent_of_water_there_is_no_ph(mix, oil, dry):
    model = compile_model(mix(("Helianthus Annuus Seed Oil", oil)))
    assert ("hardly any water" in why_withheld(model, NARROW, ())) is dry


@pytest.mark.parametrize(
    ("ph", "influence", "withheld"),
    [
        (Range(6, 2.5, 9.5), Influence("a juice", 0.5), ""),
        (Range(6, 2.5, 9.6), Influence("a juice", 0.5), "it could be 2 to 10, mostly for a juice"),
        (NARROW, Influence("a juice", 2.0, hidden=True), ""),
        (NARROW, Influence("a juice", 2.1, hidden=True), "mostly for a juice"),
        (NARROW, Influence("a juice", 2.1), ""),
    ],
)
def test_too_little_known_leaves_no_number(mix, ph, influence, withheld):
    found = why_withheld(compile_model(mix()), ph, (influence,))
    assert withheld in found
    assert bool(found) is bool(withheld)


@pytest.mark.parametrize(("percent", "held"), [(0.99, False), (1.0, True)])
def test_what_holds_the_ph_itself_does_so_from_its_amount_on(percent, held):
    soap = MixtureLine("Sodium Olivate", percent, reserve=Reserve(words="a soap", holds_ph="soap", withhold_above=1.0))
    found = held_by(Mixture((MixtureLine("Betaine", 5.0), soap), 90.0), 7.0)
    assert bool(found) is held
    assert ("Sodium Olivate holds the pH itself (a soap)" in found) is held


@pytest.mark.parametrize(("warmth", "extrapolated"), [(50.0, False), (50.5, True)])
def test_a_hot_batch_is_said_to_be_extrapolated(mix, warmth, extrapolated):
    notes = solution_notes(compile_model(mix(("Citric Acid", 0.5), temperature_c=warmth)), 0.1)
    assert said(notes, "Above 50 °C") is extrapolated


@pytest.mark.parametrize(("warmth", "drifts"), [(28.0, False), (28.5, True), (22.0, False), (21.5, True)])
def test_an_unknown_enthalpy_is_said_away_from_25_degrees(mix, warmth, drifts):
    mixture = mix(("Citric Acid", 0.5), temperature_c=warmth)
    families = [replace(one, enthalpy_known=False) for one, _ in mixture.lines[0].substance.families]
    unknown = replace(mixture.lines[0].substance, families=tuple((one, 1.0) for one in families))
    blind = replace(mixture, lines=(replace(mixture.lines[0], substance=unknown),))
    assert said(solution_notes(compile_model(blind), 0.1), "is not known for Citric Acid") is drifts
    assert not said(solution_notes(compile_model(mixture), 0.1), "is not known for")


def test_materials_without_constants_are_named_each_once():
    unknown = MixtureLine("Moon dust", 1.0, reserve=Reserve(-1e-5, 1e-5))
    juice = MixtureLine("A juice", 1.0, reserve=Reserve(-1e-5, 0.0, words="sour as sold"))
    soap = MixtureLine("A soap", 0.1, reserve=Reserve(words="a soap", holds_ph="soap", withhold_above=5.0))
    none = MixtureLine("Nothing of it", 0.0, reserve=Reserve(-1e-5, 1e-5))
    notes = solution_notes(compile_model(Mixture((unknown, unknown, juice, soap, none), 96.9)), 0.0)
    assert notes == [
        "A juice: sour as sold. The range allows for it.",
        "No acid-base data for Moon dust: they may move the pH, and the range is wider for it.",
    ]


@pytest.mark.parametrize(("molality", "crystals"), [(0.0278, False), (0.0279, True)])
def test_more_acid_than_dissolves_may_crystallise(mix, molality, crystals):
    """3.4 g of benzoic acid dissolve in a kilogram of water (handbooks), and 122.12 g are a mole: 0.0278 mol."""
    model = compile_model(mix(("Sodium Benzoate", 0.5)))
    (family,) = model.columns.families
    assert (family.solubility_g_kg, family.molar_mass) == (
        pytest.approx(3.4, abs=0.05),
        pytest.approx(122.12, abs=0.01),
    )
    ionised = SpeciesAmount(family.name, "A-", 1.0)
    notes = crystal_notes(model, (SpeciesAmount(family.name, "HA", molality), ionised))
    assert bool(notes) is crystals
    assert all("3.4 g per kg of water would be un-ionised" in note for note in notes)


@pytest.mark.parametrize(("ph", "leaves"), [(8.3, True), (8.31, False)])
def test_carbonate_is_said_to_leave_below_the_ph_that_holds_it(mix, ph, leaves):
    assert bool(carbonate_notes(compile_model(mix(("Sodium Bicarbonate", 0.5))), ph)) is leaves
    assert carbonate_notes(compile_model(mix(("Citric Acid", 0.5))), 5.0) == []


@pytest.mark.parametrize(("shift", "named"), [(0.009, False), (0.01, True)])
def test_what_makes_most_of_the_range_is_named_first(mix, shift, named):
    model = compile_model(mix(("Citric Acid", 0.5)))
    notes = prediction_notes(model, NARROW, 0.1, 0.01, (Influence("the assay", shift), Influence("water", 0.001)), ())
    assert ("Most of the range comes from the assay (about ±0.01)." in notes) is named
    assert notes[-1] == "This is a prediction: measure the pH of the batch."


@pytest.mark.parametrize(("capacity", "hardly"), [(0.00099, True), (0.001, False)])
def test_a_solution_that_a_drop_moves_is_said_to_hold_nothing(mix, capacity, hardly):
    model = compile_model(mix(("Citric Acid", 0.5)))
    notes = prediction_notes(model, NARROW, 0.1, capacity, (), ())
    assert said(notes[:1], "Hardly buffered") is hardly
    assert replace(predict_model(model), capacity=capacity).hardly_buffered is hardly


@pytest.mark.parametrize(("ph", "held"), [(8.5, False), (8.6, True)])
def test_a_phenol_holds_the_ph_only_above_its_own(ph, held):
    phenol = MixtureLine(
        "Resorcinol", 1.0, reserve=Reserve(words="a phenol", holds_ph="phenol", withhold_above=0.2, only_above_ph=8.5)
    )
    assert bool(held_by(Mixture((phenol,), 99.0), ph)) is held
