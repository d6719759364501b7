"""Cases worked by hand from the text of the law; the paragraph is named at each."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.reference.limits import limit_rows
from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.rules.limit_present import Present, exceeds
from app.science.rules.names import Amount
from app.science.rules.values import Severity

V, III, II = "EU 1223/2009 Annex V entry ", "EU 1223/2009 Annex III entry ", "EU 1223/2009 Annex II entry "


def said(verdict, rule):
    return [f for f in verdict.findings if f.rule == rule and f.limit is not None]


# (formula, exposure, rule, limit, found); the found value is percent times molar mass of the acid over that of the salt
STOPS = [
    # Annex V entry 1: benzoic acid and its sodium salt, 0.5 % as acid in leave-on; 122.12 / 144.10 = 0.8475
    ({"Sodium Benzoate": "0.6"}, "leave-on", V + "1", "0.5", "0.5085"),
    ({"Sodium Benzoate": "3"}, "rinse-off", V + "1", "2.5", "2.5425"),
    ({"sodium benzoate": "0.4", "BENZOIC ACID": "0.2"}, "leave-on", V + "1", "0.5", "0.539"),
    # Annex V entry 1a: other salts and esters, 0.5 % whatever the exposure
    ({"Potassium Benzoate": "0.7"}, "rinse-off", V + "1a", "0.5", "0.53361"),
    ({"Magnesium Benzoate": "0.6"}, "rinse-off", V + "1a", "0.5", "0.54984"),
    # Annex V entry 4: 0.6 % as sorbic acid; 112.13 / 150.22 = 0.7464
    ({"Potassium Sorbate": "0.81"}, "leave-on", V + "4", "0.6", "0.604584"),
    # Annex V entry 12: 0.4 % as acid for a single ester; 138.12 / 152.15 = 0.9078
    ({"Methylparaben": "0.45"}, "leave-on", V + "12", "0.4", "0.40851"),
    ({"Methylparaben": "0.3", "Sodium Methylparaben": "0.2"}, "leave-on", V + "12", "0.4", "0.43098"),
    # Annex V entry 12a: propyl and butyl together 0.14 % as acid
    ({"Propylparaben": "0.1", "Butylparaben": "0.1"}, "rinse-off", V + "12a", "0.14", "0.14776"),
    # Annex V entry 12 and 12a: everything together 0.8 % as acid
    (
        {"Methylparaben": "0.44", "Ethylparaben": "0.48", "Propylparaben": "0.1"},
        "leave-on",
        V + "12 and 12a",
        "0.8",
        "0.875058",
    ),
    # Annex V entry 29: phenoxyethanol 1.0 %
    ({"Phenoxyethanol": "1.01"}, "leave-on", V + "29", "1.0", "1.01"),
    ({"2-Phenoxyethanol": "1.2"}, "rinse-off", V + "29", "1.0", "1.2"),
    # Annex V entry 57: rinse-off only
    ({"Methylisothiazolinone": "0.001"}, "leave-on", V + "57", "0", "0.001"),
    ({"Methylisothiazolinone": "0.002"}, "rinse-off", V + "57", "0.0015", "0.002"),
    # Annex III entry 62: trialkanolamines 2.5 % in leave-on
    ({"Triethanolamine": "2.6"}, "leave-on", III + "62", "2.5", "2.6"),
    # Annex III entry 24: water-soluble zinc salts, 1 % as zinc; zinc chloride 65.38 / 136.28 = 0.4797
    ({"Zinc Chloride": "2.5"}, "leave-on", III + "24", "1.0", "1.19925"),
    # Annex VI entry 30: zinc oxide as a filter 25 %
    ({"Zinc Oxide": "26"}, "leave-on", "EU 1223/2009 Annex VI entry 30", "25", "26"),
    # Annex II: prohibited
    ({"Diethanolamine": "0.1"}, "rinse-off", II + "411", "0", "0.1"),
    ({"Isobutylparaben": "0.1"}, "leave-on", II + "1374 to 1378", "0", "0.1"),
    ({"Butylphenyl Methylpropional": "0.001"}, "leave-on", II + "1666", "0", "0.001"),
]


@pytest.mark.parametrize(("parts", "exposure", "rule", "limit", "found"), STOPS, ids=[str(s[0]) for s in STOPS])
def test_more_than_the_law_allows_stops(ask, parts, exposure, rule, limit, found):
    hits = said(ask(parts, exposure), rule)
    assert [(h.severity, h.limit, h.found) for h in hits] == [(Severity.STOP, Decimal(limit), Decimal(found))]


ALLOWED = [
    ({"Benzoic Acid": "0.5"}, "leave-on"),
    ({"Sodium Benzoate": "0.58"}, "leave-on"),
    ({"Phenoxyethanol": "1.0"}, "leave-on"),
    ({"Sorbic Acid": "0.6"}, "leave-on"),
    # three parabens, each and together inside their limits: 0.18156 + 0.16624 + 0.07665 = 0.42445
    ({"Methylparaben": "0.2", "Ethylparaben": "0.2", "Propylparaben": "0.1"}, "leave-on"),
    # two single esters above 0.4 together, which only the mixture limit of 0.8 speaks of
    ({"Methylparaben": "0.4", "Ethylparaben": "0.4"}, "leave-on"),
    ({"Triethanolamine": "5"}, "rinse-off"),
    ({"Methylisothiazolinone": "0.0015"}, "rinse-off"),
    ({"Methylchloroisothiazolinone": "0.001125", "Methylisothiazolinone": "0.000375"}, "rinse-off"),
    ({"Citric Acid": "2"}, "leave-on"),
]


@pytest.mark.parametrize(("parts", "exposure"), ALLOWED, ids=[str(s[0]) for s in ALLOWED])
def test_at_the_limit_or_under_it_nothing_is_over(ask, parts, exposure):
    assert not [f for f in ask(parts, exposure).findings if f.rule.startswith("EU") and f.limit is not None]


def test_a_blend_and_a_material_that_bring_the_same_preservative_are_added(ask):
    """Phenoxyethanol 0.5 % pure and 0.6 % inside 1 % of a 60/40 blend make 1.1 %, over entry 29."""
    pure = DosedMaterial("pure", Decimal("0.5"), (Part("Phenoxyethanol", Decimal(100)),))
    blend = DosedMaterial(
        "blend", Decimal(1), (Part("PHENOXYETHANOL", Decimal(60)), Part("Caprylyl Glycol", Decimal(40)))
    )
    hit = said(ask((pure, blend)), V + "29")[0]
    assert (hit.found, hit.materials) == (Decimal("1.1"), ("pure", "blend"))
    assert "pure, blend" in hit.message


def test_an_essential_oil_counts_towards_the_limit_of_what_it_brings(ask):
    """Annex III entry 102: methyl eugenol 0.0002 % in leave-on, counting what essential oils bring."""
    oil = Part("Ocimum Basilicum Oil", Decimal(100), allergens=(AllergenShare("Methyl Eugenol", Decimal(2)),))
    hit = said(ask((DosedMaterial("basil", Decimal("0.1"), (oil,)),)), III + "102")[0]
    assert (hit.severity, hit.found, hit.limit) == (Severity.STOP, Decimal("0.002"), Decimal("0.0002"))


def test_a_substance_is_known_by_its_cas_number_when_its_name_is_not(ask):
    part = Part("our preservative", Decimal(100), cas="122-99-6")
    assert said(ask((DosedMaterial("x", Decimal("1.5"), (part,)),)), V + "29")


def test_citric_acid_is_not_taken_for_the_silver_citrate_mixture_by_its_number(ask):
    part = Part("Citric Acid", Decimal(100), cas="5949-29-1")
    assert not said(ask((DosedMaterial("x", Decimal("1.5"), (part,)),)), V + "59")


# Purposes: Annex V for preserving, Annex III for the rest (labelling of salicylic acid, cetrimonium chloride...)
def test_over_the_preservative_limit_another_purpose_may_allow_it(ask):
    """Annex V entry 3 (0.5 %) and Annex III entry 98 (2 % in other products)."""
    hit = said(ask({"Salicylic Acid": "1.5"}), III + "98")[0]
    assert (hit.severity, hit.limit) == (Severity.NOTE, Decimal("2.0"))
    assert V + "3" in hit.what


def test_over_both_purposes_it_stops(ask):
    verdict = ask({"Salicylic Acid": "2.5"})
    assert not said(verdict, V + "3")
    assert said(verdict, III + "98")[0].severity == Severity.STOP


@pytest.mark.parametrize(
    ("percent", "exposure", "severity"),
    [
        ("0.1", "rinse-off", None),
        ("1.5", "rinse-off", Severity.NOTE),
        ("2.5", "rinse-off", Severity.NOTE),
        ("2.6", "rinse-off", Severity.STOP),
        ("1.0", "leave-on", Severity.CAUTION),
        ("1.1", "leave-on", Severity.STOP),
    ],
)
def test_cetrimonium_chloride_by_annex_v_44_and_iii_286(ask, percent, exposure, severity):
    found = ask({"Cetrimonium Chloride": percent}, exposure).findings
    hits = [f for f in found if f.limit is not None and V + "44" in f.rule + f.what]
    assert [h.severity for h in hits] == ([] if severity is None else [severity])


def test_behentrimonium_adds_its_shorter_relatives(ask):
    """Annex III entry 287: 5 % in rinse-off hair products, alone or with the chlorides of entry 286."""
    parts = {"Behentrimonium Chloride": "4", "Cetrimonium Chloride": "1.5"}
    hit = said(ask(parts, "rinse-off", products=("hair",)), III + "287")[0]
    assert (hit.severity, hit.found) == (Severity.STOP, Decimal("5.5"))


# Kinds of product the exposure does not tell
def test_a_limit_for_some_kinds_of_product_asks_for_the_kind(ask):
    hit = said(ask({"Kojic Acid": "0.5"}), "EU 1223/2009 Annex III entry 375")[0]
    assert hit.severity == Severity.CAUTION
    assert "face and hand products" in hit.message


def test_over_the_limit_of_every_kind_of_product_it_stops(ask):
    hit = said(ask({"Kojic Acid": "1.5"}), "EU 1223/2009 Annex III entry 375")[0]
    assert (hit.severity, hit.limit) == (Severity.STOP, Decimal(1))


def test_a_lower_limit_for_one_kind_of_product_is_a_note(ask):
    """Annex V entry 56: 0.01 % in leave-on, 0.0075 % in deodorants."""
    hit = said(ask({"Iodopropynyl Butylcarbamate": "0.009"}), V + "56")[0]
    assert (hit.severity, hit.limit) == (Severity.NOTE, Decimal("0.0075"))


def test_the_known_kind_of_product_decides(ask):
    parts = {"Iodopropynyl Butylcarbamate": "0.009"}
    assert said(ask(parts, products=("deodorant",)), V + "56")[0].severity == Severity.STOP
    assert not said(ask(parts, products=("face",)), V + "56")


def test_a_rare_lower_limit_is_listed_as_not_checked(ask):
    verdict = ask({"Sodium Benzoate": "2.2"}, "rinse-off")
    assert not said(verdict, V + "1")
    assert any("oral (at most 1.7 %)" in line for line in verdict.not_checked)


def test_an_alcoholic_product_may_be_a_fragrance(ask):
    """Annex III entry 324: methyl salicylate 0.06 % on skin, 0.6 % in hydroalcoholic fragrance."""
    rule = III + "324"
    assert said(ask({"Methyl Salicylate": "0.1"}), rule)[0].severity == Severity.STOP
    assert said(ask({"Methyl Salicylate": "0.1", "Alcohol": "80"}), rule)[0].severity == Severity.CAUTION


def test_a_colour_does_not_count_as_a_filter(ask):
    colour = Part("Titanium Dioxide", Decimal(100), kind=PartKind.COLOURANT)
    assert not said(ask((DosedMaterial("white", Decimal(30), (colour,)),)), "EU 1223/2009 Annex VI entry 27")


# pH
@pytest.mark.parametrize(("ph", "stops"), [("10.9", False), ("11", True), ("12", True)])
def test_alkali_hydroxides_need_a_ph_below_eleven(ask, ph, stops):
    """Annex III entry 15a(d): other uses as pH adjuster, pH < 11."""
    hits = said(ask({"Sodium Hydroxide": "0.3"}, "leave-on", ph), III + "15a")
    assert [(h.severity, h.limit) for h in hits] == ([(Severity.STOP, Decimal(11))] if stops else [])


def test_without_a_ph_the_condition_is_not_checked(ask):
    verdict = ask({"Potassium Hydroxide": "0.3"})
    assert any("pH below 11" in line and "no pH was given" in line for line in verdict.not_checked)


def test_alpha_hydroxy_acids_together_by_guidance(ask):
    """CIR: at most 10 % for consumers, at pH 3.5 or more; ammonium lactate counts 90.08 / 107.11 = 0.841."""
    over = ask({"Glycolic Acid": "8", "Ammonium Lactate": "3"}, ph="3.6").findings
    assert [(f.severity, f.limit) for f in over if f.rule == "H40"] == [(Severity.STOP, Decimal(10))]
    sour = ask({"Glycolic Acid": "5"}, ph="3.2").findings
    assert [f.severity for f in sour if f.rule == "H43"] == [Severity.CAUTION]
    salon = ask({"Glycolic Acid": "20"}, "rinse-off", ph="3.2", products=("peel", "professional")).findings
    assert [f.severity for f in salon if f.rule in ("H40", "H41", "H42")] == [Severity.CAUTION]


def test_an_alkali_for_ordinary_use_is_not_asked_about_callosities(ask):
    """Annex III entry 15d is for callosity removers; 15a lets a pH adjuster be."""
    assert not said(ask({"Potassium Hydroxide": "0.5"}, ph="6"), III + "15d")
    assert said(ask({"Potassium Hydroxide": "3"}, ph="12", products=("callosity",)), III + "15d")


def test_a_limit_for_each_is_not_a_limit_for_the_sum(ask):
    """REACH Annex XVII entry 70: 0.1 % of each of the cyclic siloxanes in wash-off products."""
    parts = {"Cyclopentasiloxane": "0.09", "Cyclohexasiloxane": "0.09"}
    assert not [f for f in ask(parts, "rinse-off").findings if f.rule.startswith("REACH")]
    hits = [f for f in ask({**parts, "Cyclohexasiloxane": "0.11"}, "rinse-off").findings if f.rule.startswith("REACH")]
    assert [h.inci for h in hits] == [("Cyclohexasiloxane",)]


# what hangs on facts outside the formula
def test_petrolatum_is_a_question_of_its_history(ask):
    verdict = ask({"Petrolatum": "20"})
    assert said(verdict, II + "904")[0].severity == Severity.NOTE
    assert any("refining history" in line for line in verdict.not_checked)


def test_secondary_amine_is_asked_of_the_supplier_and_not_guessed(ask):
    verdict = ask({"Cocamide DEA": "3"}, "rinse-off")
    assert not said(verdict, III + "60")
    assert any("secondary amine" in line for line in verdict.not_checked)


def test_a_forbidden_use_stops_where_the_use_is_known(ask):
    """Annex V entry 13: not in aerosol dispensers."""
    parts = {"Dehydroacetic Acid": "0.2"}
    assert any(f.rule == V + "13" and f.severity == Severity.STOP for f in ask(parts, products=("aerosol",)).findings)
    assert any("aerosol" in line for line in ask(parts).not_checked)


# United States
@pytest.mark.parametrize(
    ("name", "rule", "severity"),
    [
        ("Bithionol", "21 CFR 700.11", Severity.STOP),
        ("Chloroform", "21 CFR 700.18", Severity.STOP),
        ("Tribromsalan", "21 CFR 700.15", Severity.STOP),
        ("Vinyl Chloride", "21 CFR 700.14", Severity.CAUTION),
    ],
)
def test_the_united_states_prohibit_little_and_say_so(ask, name, rule, severity):
    found = [f for f in ask({name: "0.5"}, jurisdiction="US").findings if f.rule == rule]
    assert {f.severity for f in found} == {severity}


def test_a_filter_as_such_asks_for_no_sentence_in_the_united_states(ask):
    """21 CFR 700.35 asks for an explanation only where the label itself uses a sunscreen word."""
    found = ask({"Zinc Oxide": "2", "Titanium Dioxide": "2"}, jurisdiction="US", products=("face make-up",)).findings
    assert not [f for f in found if "sunscreen" in f.message]


def test_eu_limits_do_not_bind_in_the_united_states(ask):
    assert not [f for f in ask({"Phenoxyethanol": "2"}, jurisdiction="US").findings if f.rule.startswith("EU")]


def test_a_row_without_a_highest_amount_allows_none_of_it():
    capped = next(rule for rule in limit_rows("EU") if rule.max_percent is not None)
    amount = Amount("Methylparaben", Decimal("0.001"), "jar", PartKind.INGREDIENT)
    trace = Present((), ((amount, Decimal(1)),))
    assert exceeds(trace, replace(capped, max_percent=None))
    assert not exceeds(trace, replace(capped, max_percent=Decimal("0.001")))
