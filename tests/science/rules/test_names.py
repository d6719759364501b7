from decimal import Decimal

import pytest

from app.science.composition import AllergenShare, DosedMaterial, Part
from app.science.numbers import plain
from app.science.rules.names import amounts, is_water, materials_in, names_in, plain_name, rule_key


@pytest.mark.parametrize("name", ["Aqua", "water", "EAU", "Water (Aqua)", "Aqua/Water/Eau", "Purified Water"])
def test_water_is_water_under_all_its_label_names(name):
    assert is_water(name)
    assert plain_name(name) == "AQUA"


@pytest.mark.parametrize("name", ["Rosa Damascena Flower Water", "Maris Aqua", "Water Lily Extract", "Sea Water"])
def test_a_hydrosol_is_not_water(name):
    assert not is_water(name)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Sodium Benzoate", "  sodium   BENZOATE "),
        ("Methylparaben", "Methyl paraben"),
        ("Sodium Sulfite", "Sodium Sulphite"),
        ("Aluminum Chlorohydrate", "Aluminium chlorohydrate"),
        ("2-Bromo-2-Nitropropane-1,3-Diol", "2-bromo-2-nitropropane 1,3-diol"),
        ("Melaleuca Alternifolia Leaf Oil", "Melaleuca Alternifolia (Tea Tree) Leaf Oil"),
    ],
)
def test_spellings_of_one_name_share_a_key(one, other):
    assert rule_key(one) == rule_key(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Titanium Dioxide", "Titanium Dioxide (nano)"),
        ("Sodium Benzoate", "Potassium Benzoate"),
        ("Methylchloroisothiazolinone (and) Methylisothiazolinone", "Methylisothiazolinone"),
    ],
)
def test_different_substances_have_different_keys(one, other):
    assert rule_key(one) != rule_key(other)


def test_an_allergen_is_listed_with_its_carrier_and_its_share_of_the_product():
    perfume = Part("Parfum", Decimal(50), allergens=(AllergenShare("Linalool", Decimal(4)),))
    found = amounts([DosedMaterial("scent", Decimal("0.5"), (perfume,))])
    assert [(a.name, a.percent, a.carrier) for a in found] == [
        ("Parfum", Decimal("0.25"), None),
        ("Linalool", Decimal("0.01"), "Parfum"),
    ]


def test_the_nano_form_is_named():
    found = amounts([DosedMaterial("filter", Decimal(1), (Part("Zinc Oxide", Decimal(100), nano=True),))])
    assert found[0].name == "Zinc Oxide (nano)"


@pytest.mark.parametrize(("number", "text"), [("0.500", "0.5"), ("1E+2", "100"), ("0", "0"), ("0.0015", "0.0015")])
def test_numbers_are_written_plainly(number, text):
    assert plain(Decimal(number)) == text


def test_names_are_listed_once_each_where_they_first_stand() -> None:
    found = amounts([DosedMaterial(n, Decimal(1), (Part(n, Decimal(100)),)) for n in ("Urea", "Talc")])
    assert names_in([*found, *found]) == ("Urea", "Talc")
    assert materials_in([*found[::-1], *found]) == ("Talc", "Urea")
