import json

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def ask(**request):
    return json.loads(answer("ph", json.dumps(request)))


def line(inci, percent, **more):
    return {"inci": inci, "percent": percent, **more}


def test_the_answer_has_the_keys_of_the_contract():
    found = ask(mixture=[line("Citric Acid", 1)])
    assert set(found) == {"ph", "low", "high", "ionic_strength", "species", "notes"}
    assert set(found["species"][0]) == {"inci", "form", "mol_per_kg"}
    assert found["low"] < found["ph"] < found["high"]


def test_a_bought_solution_and_a_decimal_string():
    pure = ask(mixture=[line("lactic acid", "4.4")])
    bought = ask(mixture=[line("LACTIC ACID", 5, assay_percent="88")])
    assert bought["ph"] == pytest.approx(pure["ph"], abs=1e-4)


@pytest.mark.parametrize("mixture", [[], [line("Aqua", 100)], [line("Water", 50)], [line("Citric Acid", 0)]])
def test_only_water(mixture):
    assert ask(mixture=mixture)["ph"] == pytest.approx(7.0, abs=0.01)


def test_oil_is_no_water():
    emulsion = ask(mixture=[line("Lactic Acid", 1), line("Helianthus Annuus Seed Oil", 50)])
    stated = ask(mixture=[line("Lactic Acid", 1)], water_percent=49)
    assert emulsion["ph"] == stated["ph"] < ask(mixture=[line("Lactic Acid", 1)])["ph"]


def test_names_without_data_are_told():
    notes = ask(mixture=[line("Citric Acid", 1), line("Camellia Sinensis Leaf Extract", 2)])["notes"]
    assert any("Camellia Sinensis Leaf Extract" in note for note in notes)


def test_above_one_mol_per_kg_the_decimals_go():
    found = ask(mixture=[line("Sodium Hydroxide", 10)])
    assert found["ph"] == round(found["ph"], 1)
    assert any("above 1" in note for note in found["notes"])


def test_carbonate_closed_and_degassed():
    mixture = [line("Sodium Bicarbonate", 1), line("Citric Acid", 0.4)]
    assert ask(mixture=mixture, carbonate="degassed")["ph"] > ask(mixture=mixture)["ph"]


def test_a_warm_amine_buffer_reads_lower():
    mixture = [line("Tromethamine", 0.5), line("Tromethamine HCl", 0.65)]
    assert ask(mixture=mixture, temperature_c=37)["ph"] < ask(mixture=mixture)["ph"] - 0.25


@pytest.mark.parametrize(
    ("request_", "field"),
    [
        ({"mixture": [line("Citric Acid", 101)]}, "mixture[0].percent"),
        ({"mixture": [line("Citric Acid", -1)]}, "mixture[0].percent"),
        ({"mixture": [line("Citric Acid", 60), line("Glycerin", 60)]}, "mixture"),
        ({"mixture": [line("Citric Acid", 1, hydrate="some")]}, "mixture[0].hydrate"),
        ({"mixture": [line("Citric Acid", 1, assay_percent=120)]}, "mixture[0].assay_percent"),
        ({"mixture": [line("", 1)]}, "mixture[0].inci"),
        ({"mixture": [line("Glycerin", 100)]}, "mixture"),
        ({"mixture": [line("Alcohol", 70)]}, "mixture"),
        ({"mixture": [], "water_percent": 101}, "water_percent"),
        ({"mixture": [], "temperature_c": 120}, "temperature_c"),
        ({"mixture": [], "carbonate": "open"}, "carbonate"),
        ({"mixture": [], "colour": 1}, "colour"),
        ({}, "mixture"),
    ],
)
def test_a_request_that_makes_no_sense_names_its_field(request_, field):
    with pytest.raises(Invalid) as error:
        ask(**request_)
    assert error.value.field == field


@pytest.mark.parametrize("inci", ["Sodium Olivate", "Aluminum Chlorohydrate", "Aloe Barbadensis Leaf Juice"])
def test_where_no_ph_can_be_given_it_is_null_with_the_reason_and_nothing_is_split_at_it(inci):
    found = ask(mixture=[line(inci, 20)])
    assert (found["ph"], found["low"], found["high"], found["species"]) == (None, None, None, [])
    assert found["notes"][0].startswith("No pH is given: ")
