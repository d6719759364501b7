from decimal import Decimal

import pytest

from app.science.rules.values import Severity


def rules(verdict, rule):
    return [f for f in verdict.findings if f.rule == rule]


@pytest.mark.parametrize("water", ["Aqua", "Water", "water (aqua)", "EAU"])
def test_water_without_a_preservative(ask, water):
    hit = rules(ask({water: "80", "Glycerin": "5"}), "P01")[0]
    assert (hit.severity, hit.found) == (Severity.CAUTION, Decimal(80))


@pytest.mark.parametrize(
    "parts",
    [
        {"Aqua": "80", "Phenoxyethanol": "0.9"},
        {"Aqua": "2.9", "Helianthus Annuus Seed Oil": "90"},
        {"Helianthus Annuus Seed Oil": "90"},
        # 25 / 18.015 mol water to 75 / 92.094 mol glycerin: activity 0.63, below 0.7
        {"Aqua": "25", "Glycerin": "75"},
        # a fifth of the water phase is alcohol
        {"Aqua": "80", "Alcohol": "20"},
    ],
)
def test_a_preservative_bound_water_or_alcohol_answers_for_the_water(ask, parts):
    assert not rules(ask(parts), "P01")


def test_helpers_outside_the_list_are_named_as_such(ask):
    verdict = ask({"Aqua": "80", "Caprylyl Glycol": "0.5"})
    assert not rules(verdict, "P01")
    assert rules(verdict, "P07")[0].inci == ("Aqua", "Caprylyl Glycol")


def test_a_conditioner_agent_is_not_taken_for_the_preservative(ask):
    assert rules(ask({"Aqua": "90", "Behentrimonium Chloride": "2"}, "rinse-off"), "P01")


def test_oil_in_water_needs_an_emulsifier(ask):
    assert rules(ask({"Aqua": "80", "Helianthus Annuus Seed Oil": "10", "Phenoxyethanol": "1"}), "P02")
    held = {"Aqua": "80", "Helianthus Annuus Seed Oil": "10", "Glyceryl Stearate Citrate": "3"}
    assert not rules(ask(held), "P02")
    assert not rules(ask({"Helianthus Annuus Seed Oil": "90"}), "P02")
    assert not rules(ask({"Aqua": "60", "Alcohol": "38", "Parfum": "1"}), "P02")


def test_hotter_than_the_material_stands(ask):
    def at(degrees):
        return rules(ask({"Panthenol": "2"}, temperatures_c={"jar of Panthenol": Decimal(degrees)}), "P03")

    assert at(95)[0].found == Decimal(95)
    assert not at(25)


def test_outside_the_usual_range(ask):
    assert rules(ask({"Xanthan Gum": "8"}), "P04")[0].severity == Severity.NOTE
    assert not rules(ask({"Simmondsia Chinensis Seed Oil": "60"}), "P04")
    assert not rules(ask({"Glycerin": "30"}), "P04")
    assert not rules(ask({"Xanthan Gum": "0.3"}), "P04")


@pytest.mark.parametrize(
    ("inci", "exposure", "quiet", "loud"),
    [
        ("Cocamidopropyl Betaine", "leave-on", "3", "3.1"),  # CIR 1991
        ("Sodium Lauryl Sulfate", "leave-on", "1", "1.5"),  # CIR 1983
        ("Cetrimonium Chloride", "leave-on", "0.25", "0.3"),  # CIR
        ("Xanthan Gum", "leave-on", "2", "3"),  # reported to 2
        ("Disodium EDTA", "leave-on", "0.5", "0.7"),  # reported to 0.5, habit 0.2
        ("Disodium EDTA", "rinse-off", "1.33", "1.8"),  # FDA, a shampoo
        ("BHT", "leave-on", "0.8", "1.1"),
    ],
)
def test_what_was_assessed_or_reported_beyond_the_habit(ask, inci, exposure, quiet, loud):
    assert not rules(ask({inci: quiet}, exposure), "P04")
    found = rules(ask({inci: loud}, exposure), "P04")
    assert [finding.severity for finding in found] == [Severity.NOTE]
    assert found[0].limit <= Decimal(quiet)


def test_a_ceiling_of_an_assessment_names_its_source_and_holds_where_the_product_stays(ask):
    found = rules(ask({"Sodium Lauryl Sulfate": "12"}), "P04")
    assert "CIR 1983" in str(found[0].source)
    assert not rules(ask({"Sodium Lauryl Sulfate": "12"}, "rinse-off"), "P04")


def test_ph_outside_the_range_of_a_material(ask):
    assert rules(ask({"Hydroxyethylcellulose": "1"}, "rinse-off", ph="1.9"), "H02")
    assert not rules(ask({"Hydroxyethylcellulose": "1"}, ph="6"), "P05")
    assert any("pH ranges of Hydroxyethylcellulose" in line for line in ask({"Hydroxyethylcellulose": "1"}).not_checked)


def test_the_own_rule_of_a_substance_speaks_instead_of_the_general_one(ask):
    verdict = ask({"Niacinamide": "4"}, ph="3")
    assert rules(verdict, "C05")
    assert not rules(verdict, "P05")


def test_phases_joined_apart(ask):
    assert rules(ask({"Glycerin": "4"}, joined_c=(Decimal(75), Decimal(69))), "P06")
    assert not rules(ask({"Glycerin": "4"}, joined_c=(Decimal(75), Decimal(70))), "P06")
