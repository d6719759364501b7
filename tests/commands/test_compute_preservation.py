import json

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid

PAIR = [{"inci": "Sodium Benzoate", "percent": 0.5}, {"inci": "Potassium Sorbate", "percent": 0.3}]
KEYS = {"inci", "percent", "active_percent", "undissociated_fraction", "ph_window", "verdict", "why"}


def ask(mixture=PAIR, exposure="leave-on", **more):
    return json.loads(answer("preservation", json.dumps({"mixture": mixture, "exposure": exposure, **more})))


def test_the_answer_has_the_keys_of_the_contract():
    found = ask(ph=5)
    assert set(found) == {"systems", "gaps"}
    assert all(set(system) == KEYS for system in found["systems"])
    assert [system["inci"] for system in found["systems"]] == ["Sodium Benzoate", "Potassium Sorbate"]


@pytest.mark.parametrize(("ph", "benzoic", "sorbic"), [(4, 0.58, 0.83), (5, 0.12, 0.33), (6, 0.013, 0.046)])
def test_the_unionised_part_follows_the_table_of_the_reference(ph, benzoic, sorbic):
    """Between the ideal fractions and those at an ionic strength of 0.1."""
    first, second = ask(ph=ph)["systems"]
    assert first["undissociated_fraction"] == pytest.approx(benzoic, rel=0.1)
    assert second["undissociated_fraction"] == pytest.approx(sorbic, rel=0.1)
    assert first["active_percent"] == pytest.approx(0.5 * 0.8475 * first["undissociated_fraction"], rel=0.002)


def test_too_high_a_ph_is_told():
    found = ask(ph=7)
    assert {s["verdict"] for s in found["systems"]} == {"outside its pH window"}
    assert any("nothing counts as covered" in gap for gap in found["gaps"])


def test_without_a_ph_it_is_predicted():
    sour = ask(mixture=[*PAIR, {"inci": "Citric Acid", "percent": 0.3}])
    assert sour["systems"][0]["verdict"] == "within its pH window"
    assert ask()["systems"][0]["verdict"] == "outside its pH window"


def test_lines_of_one_preservative_are_taken_together():
    halves = [{"inci": "Phenoxyethanol", "percent": 0.4}, {"inci": "PHENOXYETHANOL", "percent": 0.4}]
    (system,) = ask(mixture=halves, ph=6)["systems"]
    assert (system["percent"], system["undissociated_fraction"]) == (0.8, 1)


def test_a_cationic_has_no_unionised_part():
    (system,) = ask(mixture=[{"inci": "Benzalkonium Chloride", "percent": 0.2, "assay_percent": 50}], ph=6)["systems"]
    assert (system["percent"], system["undissociated_fraction"]) == (0.1, None)


@pytest.mark.parametrize(
    ("mixture", "word"),
    [
        ([{"inci": "Helianthus Annuus Seed Oil", "percent": 100}], "hardly any water"),
        ([{"inci": "Alcohol", "percent": 60}], "Alcohol is 60%"),
        ([{"inci": "Glycerin", "percent": 5}], "no preservative"),
    ],
)
def test_other_products_are_told_apart(mixture, word):
    assert any(word in gap for gap in ask(mixture=mixture)["gaps"])


def test_the_laboratory_decides():
    assert "challenge test" in ask(ph=4)["gaps"][-1]


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"ph": 15}, "ph"), ({"exposure": "both"}, "exposure"), ({"water_percent": 120}, "water_percent")],
)
def test_a_request_that_makes_no_sense_names_its_field(changes, field):
    with pytest.raises(Invalid) as error:
        ask(**changes)
    assert error.value.field == field
