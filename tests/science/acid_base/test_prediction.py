import numpy as np
import pytest

from app.science.acid_base.activity import davies_slope, davies_term, pka_at, pkw
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.dosing import ph_after, plan_dose
from app.science.acid_base.inputs import InputKind
from app.science.acid_base.model import compile_model, dose_system, water_percent
from app.science.acid_base.prediction import form_name, predict, range_of
from app.science.acid_base.refit import MeterReading, refit
from app.science.acid_base.values import Range
from app.science.acid_base.wording import places_for
from app.science.errors import Invalid


@pytest.mark.parametrize(("celsius", "expected"), [(0, 14.94), (20, 14.17), (25, 14.00), (40, 13.54), (50, 13.26)])
def test_ionic_product_of_water(celsius, expected):
    """Harned and Robinson's values."""
    assert pkw(celsius) == pytest.approx(expected, abs=0.02)


def test_davies_slope_rises_with_temperature():
    assert davies_slope(25) == 0.509
    assert [davies_slope(t) for t in (0, 20, 40, 50)] == [0.492, 0.507, 0.524, 0.534]
    assert davies_slope(60) > davies_slope(50)


def test_amines_fall_by_about_three_hundredths_a_degree():
    assert pka_at(8.072, 47.45, 26) - 8.072 == pytest.approx(-0.028, abs=0.001)
    assert pka_at(8.072, 47.45, 25) == pytest.approx(8.072)


@pytest.mark.parametrize(("percent", "ph"), [(0.1, 3.4), (0.2, 3.2), (0.5, 2.95), (1.0, 2.75)])
def test_dispersions_of_carbomer(mix, percent, ph):
    assert predict(mix(("Carbomer", percent))).ph.value == pytest.approx(ph, abs=0.05)


def test_salt_moves_a_phosphate_buffer(mix):
    """1 % NaCl moves a 0.02 mol/kg phosphate buffer by about -0.15."""
    buffer = (("potassium_phosphate", 0.136), ("disodium_phosphate", 0.142))
    plain, salty = predict(mix(*buffer)), predict(mix(*buffer, ("Sodium Chloride", 1.0)))
    assert salty.ph.value - plain.ph.value == pytest.approx(-0.15, abs=0.03)


def test_the_edta_salts_differ(mix):
    assert predict(mix(("Disodium EDTA", 0.2))).ph.value == pytest.approx(4.5, abs=0.3)
    assert 10 < predict(mix(("Tetrasodium EDTA", 0.2))).ph.value < 11.2


def test_pure_water_is_neutral_and_its_range_knows_the_air(mix):
    found = predict(mix())
    assert found.ph.value == pytest.approx(7.0, abs=0.01)
    assert found.ph.low < 5.7
    assert "carbon dioxide" in found.notes[0]


def test_very_dilute_acid(mix):
    found = predict(mix(("Hydrochloric Acid", 3.6461e-8)))
    assert found.ph.value == pytest.approx(6.98, abs=0.01)


def test_the_rest_of_a_solution_and_crystal_water_are_water(mix):
    thin = predict(mix(("Lactic Acid", 10, 50)))
    assert thin.ph.value == pytest.approx(predict(mix(("Lactic Acid", 5))).ph.value, abs=1e-9)
    dry = mix(("Citric Acid", 1, 100, "anhydrous"))
    wet = mix(("Citric Acid", 210.139 / 192.124, 100, "monohydrate"))
    assert predict(wet).ph.value == pytest.approx(predict(dry).ph.value, abs=1e-5)
    assert water_percent(wet.lines, wet.water_percent) == pytest.approx(99.0, abs=1e-3)
    # Two of water: 294.10 g of the dihydrate hold 258.07 g of trisodium citrate.
    salt = mix(("Sodium Citrate", 294.10 / 258.07, 100, "dihydrate"))
    assert water_percent(salt.lines, salt.water_percent) == pytest.approx(99.0, abs=1e-3)


def test_degassed_bicarbonate_counts_as_sodium(mix):
    drawn = (("Lactic Acid", 1.0), ("Sodium Bicarbonate", 0.5))
    closed, gone = predict(mix(*drawn)), predict(mix(*drawn, degassed=True))
    with_lye = predict(mix(("Lactic Acid", 1.0), ("Sodium Hydroxide", 0.5 * 39.997 / 84.007)))
    assert gone.ph.value >= closed.ph.value
    assert gone.ph.value == pytest.approx(with_lye.ph.value, abs=0.01)
    assert any("Carbon dioxide" in note for note in closed.notes)


def test_the_strongest_influence_is_named(mix):
    found = predict(mix(("Carbomer", 0.5), ("Sodium Hydroxide", 0.18)))
    assert found.influences[0].name.endswith("Carbomer")
    assert found.influences[0].name in found.notes[0]
    assert found.ph.high - found.ph.low > 0.5


def test_an_extract_widens_the_range_and_is_named(mix):
    plain = predict(mix(("Lactic Acid", 0.1), ("Sodium Lactate", 0.1)))
    with_extract = predict(mix(("Lactic Acid", 0.1), ("Sodium Lactate", 0.1), ("Aloe Leaf Juice", 5)))
    assert with_extract.ph.high - with_extract.ph.low > plain.ph.high - plain.ph.low
    assert any("Aloe Leaf Juice" in note for note in with_extract.notes)


@pytest.mark.parametrize(
    ("lines", "word"),
    [
        ([("Sodium Citrate", 3)], "above 0.5"),
        ([("Sodium Hydroxide", 10)], "without its decimals"),
        ([("Alcohol", 35), ("Lactic Acid", 1)], "outside its range"),
        ([("Phytic Acid", 1)], "approximate"),
        ([("Benzoic Acid", 0.5)], "crystallise"),
        ([("Gluconolactone", 1)], "over hours"),
    ],
)
def test_what_lies_outside_the_model_is_said(mix, lines, word):
    assert any(word in note for note in predict(mix(*lines)).notes)


def test_no_water_no_ph(mix):
    with pytest.raises(Invalid) as error:
        predict(mix(("Glycerin", 100)))
    assert error.value.field == "mixture"


@pytest.mark.parametrize("celsius", [-5, 95])
def test_unknown_temperatures_are_refused(mix, celsius):
    with pytest.raises(Invalid) as error:
        predict(mix(("Lactic Acid", 1), temperature_c=celsius))
    assert error.value.field == "temperature_c"


@pytest.mark.parametrize(
    ("charge", "protons", "names"),
    [(0, 3, ["H3A", "H2A-", "HA-2", "A-3"]), (1, 1, ["HA+", "A"]), (2, 3, ["H3A+2", "H2A+", "HA", "A-"])],
)
def test_forms_are_named(charge, protons, names):
    assert [form_name(charge, protons, lost) for lost in range(protons + 1)] == names


def test_a_true_polymer_mass_is_learned_from_readings(mix, solution):
    """Readings made by a polymer with 8 % fewer acid groups lead to a dose 8 % smaller."""
    lye = solution("Sodium Hydroxide", 10)
    model = compile_model(mix(("Carbomer", 0.5)), (lye,))
    truth = compile_model(mix(("Carbomer", 0.46)), (lye,))
    doses = [0.004, 0.008, 0.011]
    readings = [MeterReading((d,), float(ph_after(truth, np.array([[d]]))[0])) for d in doses]
    fitted = plan_dose(model, 6.5, refit(model, readings).belief)
    right = plan_dose(truth, 6.5)
    assert fitted.value == pytest.approx(right.value, rel=0.02)
    assert plan_dose(model, 6.5).value == pytest.approx(right.value * 50 / 46, rel=0.02)


def test_moves_of_single_inputs_add_by_their_squares_upward_and_downward_apart() -> None:
    """By hand: up 0.3 and 0.4 make 0.5, down 0.6 and 0.8 make 1.0; one more half width of 1.2 makes 1.3 of the 0.5."""
    values = np.array([5.0, 5.3, 4.2, 4.4, 5.4])  # the middle, each of two inputs up, each of them down
    found = range_of(values)
    assert (found.value, found.low, found.high) == (5.0, pytest.approx(4.0), pytest.approx(5.5))
    assert range_of(values, 1.2).high == pytest.approx(6.3)
    one_way = range_of(np.array([5.0, 5.3, 5.1]))
    assert (one_way.low, one_way.high) == (5.0, pytest.approx(5.3))
    assert range_of(np.array([7.0]), 0.1).low == pytest.approx(6.9)


@pytest.mark.parametrize(
    ("charge", "protons", "names"),
    [(0, 3, ["H3A", "H2A-", "HA-2", "A-3"]), (1, 1, ["HA+", "A"]), (2, 2, ["H2A+2", "HA+", "A"]), (0, 1, ["HA", "A-"])],
)
def test_a_form_is_named_by_its_protons_and_charge(charge: int, protons: int, names: list[str]) -> None:
    assert [form_name(charge, protons, lost) for lost in range(protons + 1)] == names


@pytest.mark.parametrize(("low", "high", "places"), [(6.0, 6.25, 2), (6.0, 6.26, 1), (4.0, 6.5, 1), (4.0, 6.51, 0)])
def test_a_range_tells_how_many_decimals_say_something(low: float, high: float, places: int) -> None:
    assert places_for(Range(5.0, low, high)) == places


def test_beyond_the_table_the_limiting_slope_goes_on_as_it_rose_there() -> None:
    """Between 40 and 50 C it rises by 0.010."""
    assert davies_slope(50.0) == pytest.approx(0.534)
    assert davies_slope(60.0) == pytest.approx(0.544)
    assert davies_slope(70.0) == pytest.approx(0.554)


def test_the_davies_term_is_frozen_where_it_has_no_meaning() -> None:
    """By hand: at 0.25 mol/kg 0.5 / 1.5 - 0.075; beyond 3 as at 3."""
    found = davies_term(np.array([0.25, 3.0, 4.0]))
    assert found == pytest.approx(
        [1 / 3 - 0.075, np.sqrt(3) / (1 + np.sqrt(3)) - 0.9, np.sqrt(3) / (1 + np.sqrt(3)) - 0.9]
    )


def test_an_amine_takes_up_acid_from_the_air_and_never_alkali(mix) -> None:
    """Its trace acts one way: a score below zero makes the batch more acid, one above leaves it as it is."""
    model = compile_model(mix(("Tromethamine", 0.05)))
    place = next(n for n, one in enumerate(model.inputs) if one.kind is InputKind.ACID_TRACE)
    theta = np.zeros((3, len(model.inputs)))
    theta[1, place], theta[2, place] = -2.0, 2.0
    ph = solve(dose_system(model, theta, np.zeros((3, 0)))).ph
    assert ph[1] < ph[0] - 0.001
    assert ph[2] == pytest.approx(ph[0], abs=1e-9)


def test_the_air_makes_no_acid_solution_more_acid_but_an_alkaline_one_weaker(mix) -> None:
    """Carbon dioxide of the air holds water near pH 5.6; what is below takes none up."""
    sour, soapy = predict(mix(("Citric Acid", 0.5))).ph, predict(mix(("Sodium Hydroxide", 0.001))).ph
    assert sour.value - sour.low < 0.3
    assert soapy.value - soapy.low > 2 * (soapy.high - soapy.value)
