from decimal import Decimal

import pytest

from app.science.rules.process import AS_ACID
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


OIL = "Helianthus Annuus Seed Oil"
COLD = {"jar of Alcohol": Decimal(40)}
WARM = {"jar of Alcohol": Decimal("40.1")}
# Each pair stands on both sides of one bound; the rule says nothing of the first and speaks of the second.
BOUNDS = {
    "too little water to keep": ("P01", {"Aqua": "2.9", OIL: "90"}, {"Aqua": "3", OIL: "90"}, {}),
    "alcohol keeps": ("P01", {"Aqua": "80", "Alcohol": "20"}, {"Aqua": "80", "Alcohol": "19"}, {}),
    "soap keeps": ("P01", {"Aqua": "70", "Sodium Olivate": "20"}, {"Aqua": "70", "Sodium Olivate": "19.9"}, {}),
    "lye keeps": ("P01", {"Aqua": "90", "Sodium Hydroxide": "2"}, {"Aqua": "90", "Sodium Hydroxide": "1.9"}, {}),
    "an oxidiser keeps": (
        "P01", {"Aqua": "90", "Hydrogen Peroxide": "1"}, {"Aqua": "90", "Hydrogen Peroxide": "0.9"}, {}
    ),
    "hardly any oil": ("P02", {"Aqua": "80", OIL: "0.49"}, {"Aqua": "80", OIL: "0.5"}, {}),
    "hardly any water": ("P02", {"Aqua": "4.9", OIL: "50"}, {"Aqua": "5", OIL: "50"}, {}),
    "alcohol dissolves it": (
        "P02", {"Aqua": "70", "Alcohol": "30", OIL: "1"}, {"Aqua": "71", "Alcohol": "29", OIL: "1"}, {}
    ),
    "clay holds it": ("P02", {"Aqua": "60", "Kaolin": "15", OIL: "9"}, {"Aqua": "60", "Kaolin": "14.9", OIL: "9"}, {}),
    "lye makes soap of it": (
        "P02", {"Aqua": "60", OIL: "10", "Sodium Hydroxide": "0.8"},
        {"Aqua": "60", OIL: "10", "Sodium Hydroxide": "0.79"}, {},
    ),
    "an acid meets its alkali": (
        "P02", {"Aqua": "80", OIL: "9", "Stearic Acid": "2", "Triethanolamine": "1"},
        {"Aqua": "80", OIL: "9", "Stearic Acid": "2"}, {},
    ),
    "little alcohol": ("P10", {"Alcohol": "19.9"}, {"Alcohol": "20"}, {"temperatures_c": WARM}),
    "no solvent beside an acid": (
        "P11", {"Aqua": "80", "Salicylic Acid": "1", "Propylene Glycol": "5"},
        {"Aqua": "80", "Salicylic Acid": "1", "Propylene Glycol": "4.9"}, {"ph": "3"},
    ),
    "mostly water": ("P11", {"Aqua": "49", "Salicylic Acid": "1"}, {"Aqua": "50", "Salicylic Acid": "1"}, {"ph": "3"}),
}  # fmt: skip


@pytest.mark.parametrize(("rule", "silent", "speaking", "facts"), BOUNDS.values(), ids=BOUNDS)
def test_a_rule_of_the_whole_formula_speaks_from_its_bound_on(ask, rule, silent, speaking, facts):
    assert not rules(ask(silent, **facts), rule)
    assert rules(ask(speaking, **facts), rule)


@pytest.mark.parametrize(
    ("oxidiser", "least"),
    [
        ("Hydrogen Peroxide", "1"), ("Urea Peroxide", "3"), ("Benzoyl Peroxide", "1"), ("Aluminum Chlorohydrate", "25"),
        ("Thioglycolic Acid", "2"), ("Ammonium Thioglycolate", "2"),
    ],
)  # fmt: skip
def test_what_kills_germs_by_itself_does_so_from_its_amount_on(ask, oxidiser, least):
    assert not rules(ask({"Aqua": "70", oxidiser: least}), "P01")
    assert rules(ask({"Aqua": "70", oxidiser: str(Decimal(least) - Decimal("0.1"))}), "P01")


@pytest.mark.parametrize(("ph", "keeps"), [("2.9", True), ("3", False), ("10", False), ("10.1", True)])
def test_a_ph_below_3_or_above_10_keeps_water(ask, ph, keeps):
    assert bool(rules(ask({"Aqua": "80", "Glycerin": "5"}, ph=ph), "P01")) is not keeps


@pytest.mark.parametrize("product", ["eye", "children under 3"])
def test_open_water_weighs_more_where_germs_harm_most(ask, product):
    assert rules(ask({"Aqua": "80"}, products=(product,)), "P01")[0].severity == Severity.STOP
    assert not rules(ask({"Aqua": "80"}, products=("bar soap",)), "P01")


def test_alcohol_in_a_hot_phase_is_stopped_and_in_a_cool_one_is_not(ask):
    assert not rules(ask({"Alcohol": "60.125"}, temperatures_c=COLD), "P10")
    (hit,) = rules(ask({"Alcohol": "60.125"}, temperatures_c=WARM), "P10")
    assert (hit.severity, hit.what) == (Severity.STOP, "Alcohol: 60.13 % in a phase at 40.1 °C.")
    assert (hit.limit, hit.found) == (Decimal(40), Decimal("40.1"))


def test_an_acid_that_water_cannot_hold_is_worked_out_by_henderson_and_hasselbalch(ask):
    """pKa 2.97, 2.2 g/L (handbooks): at pH 4 a share of 1 / (1 + 10**1.03) = 0.08535 is un-ionised.

    Of 3.5 % that is 0.2987 %; 80 g of water dissolve 0.176 g, and 1.3 times that stays for long: 0.2288 %. As the
    sodium salt (138.12 / 160.10 acid) 3 % are 0.2209 % un-ionised, which just stays.
    """
    (hit,) = rules(ask({"Aqua": "80", "Salicylic Acid": "3.5"}, ph="4"), "P11")
    assert (
        hit.what == "Salicylic Acid: 0.3 % of un-ionised salicylic acid at pH 4, and this water dissolves about 0.18 %."
    )
    assert (float(hit.found), float(hit.limit)) == pytest.approx((0.2987, 0.176), abs=1e-4)
    assert not rules(ask({"Aqua": "80", "Sodium Salicylate": "3"}, ph="4"), "P11")
    both = rules(ask({"Aqua": "80", "Sodium Salicylate": "3", "Salicylic Acid": "0.2"}, ph="4"), "P11")
    assert both[0].inci == ("Sodium Salicylate", "Salicylic Acid")
    assert not rules(ask({"Aqua": "80", "Salicylic Acid": "3.5"}), "P11")


def test_oil_without_an_emulsifier_is_said_with_its_figures(ask):
    """A solubiliser is taken one to five times as much as the oil, for scents of up to 5 %."""
    (hit,) = rules(ask({"Aqua": "80.1234", OIL: "5"}), "P02")
    assert hit.what == (
        "5 % oil phase in 80.12 % water and no emulsifier; "
        "a solubiliser starts at as much as the oil (5 %) and goes up to 25 %."
    )
    (more,) = rules(ask({"Aqua": "80", OIL: "5.12345"}), "P02")
    assert more.what == "5.123 % oil phase in 80 % water and no emulsifier."


def test_what_is_just_within_its_tolerance_of_the_usual_is_quiet_and_what_carries_the_product_too(ask):
    """Xanthan gum is reported to 2 %; a quarter more is let pass, and beyond 20 % it would be what carries it."""
    assert not rules(ask({"Xanthan Gum": "2.5"}), "P04")
    (hit,) = rules(ask({"Xanthan Gum": "2.512345"}), "P04")
    assert (hit.what, hit.limit) == ("Xanthan Gum at 2.512 %, usual up to 2 %.", Decimal(2))
    assert rules(ask({"Xanthan Gum": "20"}), "P04")
    assert not rules(ask({"Xanthan Gum": "20.1"}), "P04")


def test_a_gap_between_phases_and_a_heated_material_are_said_with_their_figures(ask):
    (gap,) = rules(ask({"Glycerin": "4"}, joined_c=(Decimal(75), Decimal(60), Decimal(69))), "P06")
    assert (gap.what, gap.limit, gap.found) == ("The phases are 15 °C apart.", 5, 15)
    (hot,) = rules(ask({"Panthenol": "2"}, temperatures_c={"jar of Panthenol": Decimal(95)}), "P03")
    assert not rules(ask({"Panthenol": "2"}, temperatures_c={"jar of Panthenol": hot.limit}), "P03")
    assert hot.what == f"Panthenol is heated to 95 °C and stands {hot.limit} °C."


# Molar masses from the standard atomic weights (IUPAC 2021, abridged), in g/mol.
MOLAR_MASS = {
    "SALICYLICACID": 138.12, "SODIUMSALICYLATE": 160.10, "BENZOICACID": 122.12, "SODIUMBENZOATE": 144.10,
    "POTASSIUMBENZOATE": 160.21, "SORBICACID": 112.13, "POTASSIUMSORBATE": 150.22, "DEHYDROACETICACID": 168.15,
    "SODIUMDEHYDROACETATE": 190.13, "PANISICACID": 152.15, "SODIUMANISATE": 174.13,
}  # fmt: skip


@pytest.mark.parametrize("name", AS_ACID)
def test_a_salt_counts_as_the_acid_that_it_holds(name: str) -> None:
    acid, grams = AS_ACID[name]
    its_acid = MOLAR_MASS["PANISICACID" if acid == "anisic acid" else acid.upper().replace(" ", "")]
    assert float(grams) == pytest.approx(its_acid / MOLAR_MASS[name], abs=2e-4)
