import numpy as np
import pytest

from app.science.acid_base.activity import davies_slope, pka_at, pkw
from app.science.acid_base.dosing import ph_after, plan_dose
from app.science.acid_base.model import compile_model, water_percent
from app.science.acid_base.prediction import form_name, predict
from app.science.acid_base.refit import MeterReading, refit
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
