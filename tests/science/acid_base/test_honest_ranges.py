"""Solutions that hardly hold their pH, and materials that nobody has constants for.

Outside figures: niacinamide 5 % pH 6.0 to 7.5 (European Pharmacopoeia); water in equilibrium with the air pH 5.6
(Stumm and Morgan, Aquatic Chemistry); alkyl glucosides as sold pH 11.5 to 12.5; the FIP and NIST buffers stay narrow.
"""

from decimal import Decimal

import numpy as np
import pytest

from app.reference.mixtures import MixtureEntry, build_mixture
from app.science.acid_base.air import uptake_of_carbon_dioxide
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.model import compile_model, dose_system
from app.science.acid_base.prediction import predict, predict_model
from app.science.acid_base.validity import HARDLY_BUFFERED, model_half_width
from app.science.acid_base.values import Range
from app.science.acid_base.wording import in_words, places_for, range_in_words
from app.science.errors import Invalid


def written(*lines: tuple[str, float]):
    return build_mixture([MixtureEntry(name, Decimal(str(percent))) for name, percent in lines])


def found(*lines: tuple[str, float]):
    return predict_model(compile_model(written(*lines).mixture))


def test_niacinamide_reaches_what_the_pharmacopoeia_asks_of_it():
    ph = found(("Niacinamide", 5)).ph
    assert ph.low <= 6.0
    assert 7.5 <= ph.high < 9.5


@pytest.mark.parametrize(
    ("name", "percent"),
    [
        ("Niacinamide", 5),
        ("Sodium Gluconate", 1),
        ("Sodium Salicylate", 1),
        ("Sodium Citrate", 1),
        ("Sodium Benzoate", 0.5),
        ("Panthenol", 1),
        ("Sodium Chloride", 1),
        ("Aqua", 50),
    ],
)
def test_what_hardly_buffers_says_so_and_reaches_down(name, percent):
    prediction = found((name, percent))
    assert prediction.hardly_buffered
    assert prediction.notes[0] == HARDLY_BUFFERED
    assert prediction.ph.value - prediction.ph.low > 0.9
    assert not prediction.withheld


@pytest.mark.parametrize(
    "lines",
    [
        [("Citric Acid", 0.1)],
        [("Tromethamine", 0.5), ("Tromethamine HCl", 0.65)],
        [("Sodium Borate", 0.38)],
        [("Sodium Acetate", 0.8), ("Acetic Acid", 0.6)],
        [("Sodium Bicarbonate", 0.21), ("Sodium Carbonate", 0.26)],
    ],
)
def test_a_buffer_keeps_its_narrow_range(lines):
    prediction = found(*lines)
    assert not prediction.hardly_buffered
    assert prediction.ph.high - prediction.ph.low < 0.25


def test_pure_water_under_air_stands_at_5_6():
    model = compile_model(written(("Aqua", 100)).mixture)
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, 0)))
    taken = uptake_of_carbon_dioxide(system, 7.0, 0.0)
    system.strong_charge[0] -= taken
    assert solve(system).ph[0] == pytest.approx(5.6, abs=0.05)


def test_an_acid_takes_no_carbon_dioxide_to_speak_of():
    model = compile_model(written(("Citric Acid", 1)).mixture)
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, 0)))
    assert uptake_of_carbon_dioxide(system, 2.3, 0.01) < 1e-7


def test_glucoside_is_alkaline_as_sold():
    ph = found(("Coco-Glucoside", 10)).ph
    assert 10.5 < ph.low < ph.value < ph.high < 12.5


@pytest.mark.parametrize("name", ["Betaine", "Cocamidopropyl Betaine", "Cocamidopropyl Hydroxysultaine"])
def test_betaine_neither_widens_nor_withholds(name):
    plain, with_it = (
        found(("Lactic Acid", 0.5), ("Sodium Lactate", 1)),
        found(("Lactic Acid", 0.5), ("Sodium Lactate", 1), (name, 5)),
    )
    assert with_it.ph.high - with_it.ph.low == pytest.approx(plain.ph.high - plain.ph.low, abs=0.05)
    assert not with_it.withheld


@pytest.mark.parametrize(
    ("name", "percent", "word"),
    [
        ("Sodium Olivate", 20, "soap"),
        ("Sodium Laurate", 10, "soap"),
        ("Potassium Cocoate", 8, "soap"),
        ("Aluminium Chlorohydrate", 15, "aluminium"),
        ("Aluminum Chlorohydrate", 15, "aluminium"),
        ("Zinc Oxide", 20, "acid"),
        ("Sodium Silicate", 2, "alkaline"),
    ],
)
def test_what_holds_the_ph_itself_leaves_no_number(name, percent, word):
    assert word in found((name, percent)).withheld
    with pytest.raises(Invalid, match="no number"):
        predict(written((name, percent)).mixture)


@pytest.mark.parametrize(
    "lines",
    [
        [("Aloe Barbadensis Leaf Juice", 99)],
        [("Rosa Damascena Flower Water", 100)],
        [("Camellia Sinensis Leaf Extract", 2)],
        [("Potasium Sorbate", 0.3), ("Citric Acid", 0.2)],
        [("Unobtainium Chloride", 3)],
    ],
)
def test_where_nothing_is_known_there_is_no_number(lines):
    assert "too little is known" in found(*lines).withheld


@pytest.mark.parametrize(
    ("lines", "word"), [([("Helianthus Annuus Seed Oil", 96.4)], "hardly any water"), ([("Glycerin", 95)], "outweigh")]
)
def test_with_hardly_any_water_there_is_no_number(lines, word):
    assert word in found(*lines).withheld


def test_a_misspelt_name_is_named_with_the_one_it_is_most_like():
    notes = written(("Potasium Sorbate", 0.3), ("Moon dust", 1), ("Formaldehydde", 0.01), ("Xq", 0)).notes
    assert any("Potasium Sorbate" in n and "did you mean Potassium Sorbate?" in n for n in notes)
    assert any("Formaldehydde" in n and "did you mean Formaldehyde?" in n for n in notes)
    assert any(n.startswith("Moon dust is a name that no table here knows") for n in notes)
    assert not any("Xq" in n for n in notes)


def test_names_as_labels_write_them_are_known():
    assert not written(
        ("Helianthus Annuus (Sunflower) Seed Oil", 5),
        ("Citric Acid Monohydrate", 0.1),
        ("Water (Aqua)", 50),
        ("Rosa Damascena Flower Water", 5),
        ("NaOH", 0.1),
        ("Alcohol Denat.", 5),
    ).notes


def test_an_impurity_of_the_pharmacopoeias_limit_moves_benzoate_by_what_a_titration_says():
    """0.01 mmol of acid per gram on 0.5 % benzoate: pH = pKa + log10(A-/HA) with HA 5e-5 of 0.0347 mol/kg."""
    ph = found(("Sodium Benzoate", 0.5)).ph
    expected = 4.202 + np.log10(0.0349 / (1.645 * 5e-6 * 5 / 0.995)) - 0.08
    assert ph.low < expected < ph.value
    assert ph.low == pytest.approx(expected, abs=0.8)


@pytest.mark.parametrize(
    ("ph", "places", "words"),
    [
        (Range(4.567, 4.50, 4.63), 2, "4.57 (4.50 to 4.63)"),
        (Range(6.32, 5.7, 6.9), 1, "6.3 (5.7 to 6.9)"),
        (Range(8.48, 5.9, 8.76), 0, "8 (6 to 9)"),
        (Range(1.0, -0.02, 2.2), 1, "1.0 (0.0 to 2.2)"),
    ],
)
def test_decimals_go_by_the_width_of_the_range(ph, places, words):
    assert places_for(ph) == places
    assert in_words(ph) == words
    assert range_in_words(ph) in words


@pytest.mark.parametrize(
    ("strength", "miss"),
    [(0.1, 0.012), (0.2, 0.05), (0.5, 0.17), (0.58, 0.19)],
    ids=["NIST buffers", "phosphate tables", "citrate-phosphate", "citrate-phosphate at its strongest"],
)
def test_the_models_own_doubt_covers_its_misses_on_published_buffers(strength, miss):
    """Misses against Bates 1962, the tables of Sorensen and McIlvaine's of 1921."""
    assert miss <= model_half_width(strength) <= miss + 0.12


def test_the_models_own_doubt_reaches_the_range_of_a_strong_buffer():
    ph = found(("Sodium Citrate", 3), ("Citric Acid", 2), ("Sodium Chloride", 1.5)).ph
    assert ph.high - ph.value >= model_half_width(0.5) >= 0.15


@pytest.mark.parametrize(
    ("lines", "word"),
    [
        ([("Stearic Acid", 3), ("Triethanolamine", 1)], "makes soap"),
        ([("Palmitic Acid", 5), ("Sodium Hydroxide", 0.5)], "makes soap"),  # all of the lye is used up: no pH 13
        ([("Cocos Nucifera Oil", 20), ("Sodium Hydroxide", 3)], "makes soap"),
        ([("Resorcinol", 1), ("Ammonia", 1)], "a phenol"),  # half neutralised at its pKa of 9.3: no pH 11.5
        ([("Hydrogen Peroxide", 6), ("Sodium Hydroxide", 0.1)], "takes up base"),  # pKa 11.6, 1.9 mol/kg of it
        ([("Sodium Thioglycolate", 5), ("Sodium Hydroxide", 1)], "thiol"),
        ([("Calcium Hydroxide", 2.6)], "lime water"),  # saturated it stands at 12.45, whatever lies on the ground
        ([("Magnesium Hydroxide", 5)], "pH 10"),
        ([("Chitosan", 1), ("Lactic Acid", 0.6)], "takes up acid"),
        ([("Sodium Polyacrylate", 1)], "part neutralised"),
    ],
)
def test_where_soap_solubility_or_a_weak_acid_decides_no_number_is_given(lines, word):
    predicted = found(*lines)
    assert word in predicted.withheld
    assert not any("buffered" in note for note in predicted.notes)


@pytest.mark.parametrize(
    "lines",
    [
        [("Stearic Acid", 3), ("Citric Acid", 0.2), ("Sodium Citrate", 0.5)],
        [("Cocos Nucifera Oil", 20), ("Citric Acid", 0.1), ("Sodium Hydroxide", 0.02)],
        [("Resorcinol", 1), ("Lactic Acid", 0.5), ("Sodium Lactate", 0.5)],
        [("Hydrogen Peroxide", 6), ("Phosphoric Acid", 0.05)],
        [("Calcium Hydroxide", 0.1)],
    ],
)
def test_what_only_counts_in_alkali_takes_no_number_from_an_acid_formula(lines):
    assert not found(*lines).withheld
