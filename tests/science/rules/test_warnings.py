from decimal import Decimal

import pytest

from app.reference.rulebook import rulebook, warning_rules
from app.science.composition import DosedMaterial, Part
from app.science.rules.check import label_statements
from app.science.rules.values import Exposure, FormulaFacts


def statements(parts, exposure="leave-on", jurisdiction="EU", products=()):
    made = tuple(DosedMaterial(n, Decimal(p), (Part(n, Decimal(100)),)) for n, p in parts.items())
    formula = FormulaFacts(made, Exposure(exposure), None, frozenset(products))
    return label_statements(formula, rulebook(jurisdiction))


def texts(*args, **named):
    return [s.text for s in statements(*args, **named)]


def test_the_wording_of_the_law_is_given_with_its_entry():
    found = statements({"Benzalkonium Chloride": "0.05"}, "rinse-off")[0]
    assert (found.text, found.is_legal, found.rule) == (
        "Avoid contact with eyes",
        True,
        "EU 1223/2009 Annex V entry 54",
    )
    assert "Benzalkonium Chloride" in found.reason


@pytest.mark.parametrize(
    ("name", "under", "over", "text"),
    [
        ("Ammonia", "2", "2.1", "Contains ammonia"),  # Annex III entry 4: above 2 %
        ("Glutaral", "0.05", "0.06", "Contains glutaral"),  # Annex V entry 48: above 0.05 %
    ],
)
def test_some_wordings_start_at_an_amount(name, under, over, text):
    assert text not in texts({name: under})
    assert text in texts({name: over})


def test_vitamin_a_is_named():
    """(EU) 2024/996."""
    assert any(t.startswith("Contains Vitamin A") for t in texts({"Retinyl Palmitate": "0.1"}))


def test_the_kind_of_product_brings_its_own_wording():
    parts = {"Hydrogen Peroxide": "6"}
    assert not any("peroxide" in t for t in texts(parts, "rinse-off"))
    assert any("Contains hydrogen peroxide" in t for t in texts(parts, "rinse-off", products=("hair",)))


def test_the_sunburn_alert_belongs_to_the_united_states_and_to_peeling_amounts(ask):
    """FDA guidance of January 2005; what sets the pH is not there to peel."""

    def alert(percent, jurisdiction):
        found = ask({"Glycolic Acid": percent}, ph="4", jurisdiction=jurisdiction).findings
        return any("Sunburn Alert" in f.what for f in found)

    assert alert("5", "US")
    assert not alert("5", "EU")
    assert not alert("0.5", "US")


@pytest.mark.parametrize("rule", warning_rules(), ids=lambda r: r.rule_id)
def test_every_further_statement_is_called_for_and_not_called_for(rule):
    jurisdiction = sorted(rule.jurisdictions)[0]
    called = {
        "W06": {"Alcohol Denat.": "60"},
        "W07": {"Sodium Laureth Sulfate": "10"},
        "W08": {"Citrus Aurantium Bergamia Peel Oil": "0.2"},
        "W09": {"Prunus Amygdalus Dulcis Oil": "10"},
        "W10": {"Retinol": "0.1"},
        "W11": {"Talc": "60"},
        "W12": {"Menthol": "0.5"},
        "W13": {"Butane": "20"},
        "W15": {"Bismuth Citrate": "1"},
        "W16": {"Lawsonia Inermis Leaf Powder": "50"},
        "W17": {"Zinc Sulfide": "5"},
    }.get(rule.rule_id, {"Glycerin": "5"})
    exposure = rule.exposure or "leave-on"
    ways = sorted(rule.scope)
    products = () if not ways or ways[0].startswith("!") else (ways[0],)
    assert rule.text in texts(called, exposure, jurisdiction, products)
    assert rule.text not in texts({"Glycerin": "5"}, exposure, jurisdiction, ())


def test_in_the_answer_a_legal_wording_must_and_our_own_should(ask):
    found = ask({"Benzalkonium Chloride": "0.05", "Sodium Laureth Sulfate": "8"}, "rinse-off").findings
    assert any(f.message.startswith("The label must say") for f in found)
    assert any(f.message.startswith("The label should say") for f in found)
