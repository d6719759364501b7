"""Every condition of the table fires on a formula written for it, and is silent on its counterpart."""

from decimal import Decimal

import pytest

from app.reference.compatibility import conditions, trade_rules
from app.science.rules.values import Severity

A, B, NONE = "leave-on", "rinse-off", None
STOP, CAUTION, NOTE = Severity.STOP, Severity.CAUTION, Severity.NOTE

# rule, severity, formula that makes it fire, pH, formula that does not, pH, further facts of the firing formula
CASES = [
    (
        "C01",
        STOP,
        {"2-Bromo-2-Nitropropane-1,3-Diol": "0.1", "Triethanolamine": "1"},
        NONE,
        {"Triethanolamine": "1"},
        NONE,
    ),
    ("C02", CAUTION, {"Triethanolamine": "1", "DMDM Hydantoin": "0.3"}, NONE, {"DMDM Hydantoin": "0.3"}, NONE),
    ("C03", NOTE, {"Triethanolamine": "2.6"}, NONE, {"Triethanolamine": "2.5"}, NONE),
    ("C04", CAUTION, {"Sodium Benzoate": "0.4", "Ascorbic Acid": "5"}, NONE, {"Ascorbic Acid": "5"}, NONE),
    ("C05", CAUTION, {"Niacinamide": "4"}, "4.9", {"Niacinamide": "4"}, "5"),
    ("C05", CAUTION, {"Niacinamide": "4"}, "7.1", {"Niacinamide": "4"}, "7"),
    ("C06", NOTE, {"Niacinamide": "4", "Lactic Acid": "3"}, "4.5", {"Niacinamide": "4", "Lactic Acid": "3"}, "5"),
    ("C07", CAUTION, {"Ascorbic Acid": "10"}, "3.6", {"Ascorbic Acid": "10"}, "3.5"),
    (
        "C08",
        CAUTION,
        {"Ascorbic Acid": "5", "Kaolin": "2"},
        NONE,
        {"Ascorbic Acid": "5", "Kaolin": "2", "Disodium EDTA": "0.1"},
        NONE,
    ),
    ("C10", NOTE, {"Retinol": "0.1", "Hydrogen Peroxide": "3"}, NONE, {"Retinol": "0.1"}, NONE),
    (
        "C11",
        CAUTION,
        {"Carbomer": "0.3", "Sodium Chloride": "0.4"},
        NONE,
        {"Carbomer": "0.3", "Sodium Chloride": "0.3"},
        NONE,
    ),
    ("C11", CAUTION, {"Carbomer": "0.3", "Cetrimonium Chloride": "0.1"}, NONE, {"Cetrimonium Chloride": "0.1"}, NONE),
    ("C12", CAUTION, {"Carbomer": "0.3"}, "4.9", {"Carbomer": "0.3"}, "6"),
    ("C13", STOP, {"Carbomer": "0.3", "Lactic Acid": "3"}, "4.4", {"Carbomer": "0.3", "Lactic Acid": "3"}, "5"),
    ("C14", CAUTION, {"Carbomer": "0.3", "Zinc PCA": "0.2"}, NONE, {"Zinc PCA": "0.2"}, NONE),
    (
        "C15",
        CAUTION,
        {"Sodium Laureth Sulfate": "10", "Behentrimonium Chloride": "1"},
        NONE,
        {"Decyl Glucoside": "10", "Behentrimonium Chloride": "1"},
        NONE,
    ),
    ("C15", NOTE, {"Sodium Lauryl Sulfate": "5", "Polyquaternium-7": "0.6"}, NONE, {"Polyquaternium-7": "0.6"}, NONE),
    (
        "C16",
        CAUTION,
        {"Xanthan Gum": "0.3", "Cetrimonium Chloride": "1"},
        NONE,
        {"Sclerotium Gum": "0.3", "Cetrimonium Chloride": "1"},
        NONE,
    ),
    (
        "C17",
        NOTE,
        {"Polyquaternium-10": "0.3", "Sodium Laureth Sulfate": "10"},
        NONE,
        {"Polyquaternium-10": "0.6", "Sodium Laureth Sulfate": "10"},
        NONE,
    ),
    (
        "C18",
        CAUTION,
        {"Benzalkonium Chloride": "0.1", "Xanthan Gum": "0.2"},
        NONE,
        {"Benzalkonium Chloride": "0.1"},
        NONE,
    ),
    (
        "C19",
        CAUTION,
        {"Methylparaben": "0.2", "Polysorbate 80": "3", "Polysorbate 20": "3"},
        NONE,
        {"Methylparaben": "0.2", "Polysorbate 80": "5"},
        NONE,
    ),
    (
        "C20",
        CAUTION,
        {"Phenoxyethanol": "0.9", "Polysorbate 20": "11"},
        NONE,
        {"Phenoxyethanol": "0.9", "Polysorbate 20": "10"},
        NONE,
    ),
    ("C21", NOTE, {"Sodium Benzoate": "0.5", "Phenoxyethanol": "0.9"}, "5.6", {"Sodium Benzoate": "0.5"}, "5.5"),
    ("C21", NOTE, {"Sodium Benzoate": "0.5", "Phenoxyethanol": "0.9"}, "6", {"Phenoxyethanol": "0.9"}, "6"),
    ("C21", CAUTION, {"Dehydroacetic Acid": "0.3"}, "6.1", {"Dehydroacetic Acid": "0.3"}, "6"),
    ("C22", NOTE, {"Salicylic Acid": "0.5", "Kaolin": "2"}, NONE, {"Salicylic Acid": "0.5"}, NONE),
    ("C23", NOTE, {"Disodium EDTA": "0.1", "Zinc Oxide": "5"}, NONE, {"Disodium EDTA": "0.1"}, NONE),
    ("C24", STOP, {"Hydrogen Peroxide": "3", "Sodium Sulfite": "0.1"}, NONE, {"Hydrogen Peroxide": "3"}, NONE),
    ("C25", CAUTION, {"Hydrogen Peroxide": "3"}, "5.1", {"Hydrogen Peroxide": "3"}, "5"),
    ("C26", CAUTION, {"Hydrogen Peroxide": "3", "Parfum": "0.2"}, NONE, {"Parfum": "0.2"}, NONE),
    ("C27", CAUTION, {"Sodium Metabisulfite": "0.1", "CI 42090": "0.01"}, NONE, {"CI 42090": "0.01"}, NONE),
    ("C28", CAUTION, {"Dihydroxyacetone": "5", "Panthenol": "1"}, NONE, {"Dihydroxyacetone": "5"}, NONE),
    ("C29", CAUTION, {"Urea": "5"}, "7.1", {"Urea": "5"}, "7"),
    ("C30", CAUTION, {"Panthenol": "2"}, "3.9", {"Panthenol": "2"}, "4"),
    ("C31", NOTE, {"Allantoin": "0.6"}, NONE, {"Allantoin": "0.5"}, NONE),
    ("C32", CAUTION, {"Sodium Olivate": "50"}, "7.9", {"Sodium Olivate": "50"}, "9"),
    ("C32", CAUTION, {"Glyceryl Stearate SE": "4"}, "5.4", {"Glyceryl Stearate SE": "4"}, "5.5"),
    (
        "C33",
        CAUTION,
        {"Glyceryl Stearate SE": "4", "Behentrimonium Chloride": "1"},
        NONE,
        {"Glyceryl Stearate SE": "4"},
        NONE,
    ),
    ("C34", NOTE, {"Potassium Cocoate": "20", "Magnesium Sulfate": "1"}, NONE, {"Potassium Cocoate": "20"}, NONE),
    ("C35", CAUTION, {"Sodium Borate": "1", "Hydroxypropyl Guar": "0.5"}, NONE, {"Hydroxypropyl Guar": "0.5"}, NONE),
    ("C36", NOTE, {"Xanthan Gum": "0.3", "Cyamopsis Tetragonoloba Gum": "0.3"}, NONE, {"Xanthan Gum": "0.3"}, NONE),
    ("C37", CAUTION, {"Xanthan Gum": "0.3", "Alcohol": "21"}, NONE, {"Xanthan Gum": "0.3", "Alcohol": "20"}, NONE),
    ("C38", CAUTION, {"Sodium Laureth Sulfate": "10"}, "3.9", {"Sodium Laureth Sulfate": "10"}, "4"),
    ("C39", CAUTION, {"Sodium Cocoyl Isethionate": "20"}, "8.1", {"Sodium Cocoyl Isethionate": "20"}, "8"),
    (
        "C40",
        NOTE,
        {"Sodium Chloride": "3.1", "Sodium Laureth Sulfate": "10"},
        NONE,
        {"Sodium Chloride": "3", "Sodium Laureth Sulfate": "10"},
        NONE,
    ),
    ("C41", CAUTION, {"CI 77007": "1"}, "5.9", {"CI 77007": "1"}, "6"),
    ("C42", NOTE, {"CI 77510": "1"}, "8.1", {"CI 77510": "1"}, "8"),
    (
        "C43",
        NOTE,
        {"Kaolin": "2", "Bentonite": "2", "Phenoxyethanol": "0.9"},
        NONE,
        {"Kaolin": "3", "Phenoxyethanol": "0.9"},
        NONE,
    ),
    ("C44", CAUTION, {"Bentonite": "1", "Cetrimonium Chloride": "1"}, NONE, {"Bentonite": "1"}, NONE),
    ("C45", NOTE, {"Rosa Canina Fruit Oil": "5"}, NONE, {"Rosa Canina Fruit Oil": "5", "Tocopherol": "0.2"}, NONE),
    ("C48", NOTE, {"Citrus Limon Peel Oil": "0.3"}, NONE, {"Citrus Limon Peel Oil": "0.3", "Tocopherol": "0.2"}, NONE),
    ("C49", CAUTION, {"Ammonium Lauryl Sulfate": "10"}, "7.1", {"Ammonium Lauryl Sulfate": "10"}, "7"),
    (
        "C50",
        CAUTION,
        {"Sodium Bicarbonate": "2", "Citric Acid": "1", "Aqua": "80"},
        NONE,
        {"Sodium Bicarbonate": "60", "Citric Acid": "30"},
        NONE,
    ),
    (
        "C51",
        NOTE,
        {"Phenoxyethanol": "1.3", "Polysorbate 60": "3"},
        NONE,
        {"Phenoxyethanol": "0.5", "Polysorbate 60": "3"},
        NONE,
    ),
    ("C52", NOTE, {"Potassium Sorbate": "0.9"}, NONE, {"Phenoxyethanol": "0.2"}, NONE),
    ("P08", NOTE, {"Citrus Aurantium Bergamia Peel Oil": "0.3"}, NONE, {"Lavandula Angustifolia Oil": "0.3"}, NONE),
]
HEAT = [
    ("C09", "Retinol", 40),
    ("C29", "Urea", 40),
    ("C45", "Linum Usitatissimum Seed Oil", 50),
    ("C46", "Parfum", 45),
    ("C47", "Alcohol", 40),
]


@pytest.mark.parametrize("case", CASES, ids=[f"{c[0]} {'+'.join(c[2])}" for c in CASES])
def test_a_rule_fires_on_what_it_is_about_and_is_silent_otherwise(ask, case):
    rule, severity, guilty, guilty_ph, innocent, innocent_ph = case
    hits = [f for f in ask(guilty, "leave-on", guilty_ph).findings if f.rule == rule]
    assert [h.severity for h in hits] == [severity]
    assert set(hits[0].inci) <= set(guilty)
    assert not [f for f in ask(innocent, "leave-on", innocent_ph).findings if f.rule == rule]


@pytest.mark.parametrize(("rule", "name", "cap"), HEAT)
def test_heat_is_judged_where_the_temperature_is_known(ask, rule, name, cap):
    def at(degrees):
        found = ask({name: "2", "Tocopherol": "0.1"}, temperatures_c={f"jar of {name}": Decimal(degrees)})
        return [f for f in found.findings if f.rule == rule]

    assert [(f.limit, f.found) for f in at(cap + 1)] == [(Decimal(cap), Decimal(cap + 1))]
    assert not at(cap)
    assert any(rule in line for line in ask({name: "2"}).not_checked)


def test_the_neutraliser_comes_after_the_polymer(ask):
    parts = {"Carbomer": "0.3", "Sodium Hydroxide": "0.1"}
    good, bad = ("jar of Carbomer", "jar of Sodium Hydroxide"), ("jar of Sodium Hydroxide", "jar of Carbomer")
    assert not [f for f in ask(parts, order=good).findings if f.rule == "P09"]
    assert [f.severity for f in ask(parts, order=bad).findings if f.rule == "P09"] == [CAUTION]
    assert any("order of addition" in line for line in ask(parts).not_checked)
    for known in ("jar of Carbomer", "jar of Sodium Hydroxide"):
        only_one = ask(parts, order=(known,))
        assert any("order of addition" in line for line in only_one.not_checked)
        assert not [f for f in only_one.findings if f.rule == "P09"]


def test_an_alkali_between_two_polymers_is_before_the_last_of_them(ask):
    """Every polymer has to be wetted before the first alkali goes in."""
    parts = {"Carbomer": "0.3", "Sodium Carbomer": "0.1", "Sodium Hydroxide": "0.1"}
    between = ("jar of Carbomer", "jar of Sodium Hydroxide", "jar of Sodium Carbomer")
    assert [f.rule for f in ask(parts, order=between).findings if f.rule == "P09"]
    after = ("jar of Carbomer", "jar of Sodium Carbomer", "jar of Sodium Hydroxide")
    assert not [f for f in ask(parts, order=after).findings if f.rule == "P09"]


def test_every_rule_with_a_condition_has_a_case():
    cased = {c[0] for c in CASES} | {h[0] for h in HEAT} | {"P09"}
    assert cased == {c.rule.rule_id for c in conditions()}


def test_every_compatibility_rule_has_a_condition():
    written = {rule_id for rule_id in trade_rules() if rule_id.startswith("C")}
    assert written == {c.rule.rule_id for c in conditions() if c.rule.rule_id.startswith("C")}


def test_a_ph_rule_without_a_ph_is_listed(ask):
    assert any("C05" in line and "no pH was given" in line for line in ask({"Niacinamide": "4"}).not_checked)


def test_a_finding_says_why_what_to_do_and_who_says_so(ask):
    finding = next(f for f in ask({"Niacinamide": "4"}, ph="4").findings if f.rule == "C05")
    assert "nicotinic acid" in finding.message
    assert "What to do" in finding.message
    assert finding.source.status == "verified"


def test_the_neutraliser_of_a_carbomer_is_no_electrolyte_too_many(ask):
    assert not [f for f in ask({"Carbomer": "0.5", "Sodium Hydroxide": "0.4"}, ph="6.5").findings if f.rule == "C11"]


def test_magnesium_sulfate_is_no_surfactant(ask):
    assert not [f for f in ask({"Magnesium Sulfate": "1", "Cetrimonium Chloride": "1"}).findings if f.rule == "C15"]
