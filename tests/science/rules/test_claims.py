from decimal import Decimal

import pytest

from app.reference.claims import claim_rules
from app.reference.compatibility import classes, facts_for
from app.science.composition import DosedMaterial, Part
from app.science.rules.claims import check_claims, claims_a_drug, soap_standing
from app.science.rules.selectors import ingredients
from app.science.rules.values import Severity


def found(text, jurisdiction):
    return check_claims([text], jurisdiction, claim_rules())


def kinds(text, jurisdiction):
    return {f.what.rsplit("(", 1)[1].rstrip(").") for f in found(text, jurisdiction)}


# The examples of cosmetic and drug claims: FD&C Act 201(g)(1), 201(i); section 5.3 of the labelling reference
@pytest.mark.parametrize(
    ("text", "jurisdiction", "kind"),
    [
        ("Day cream SPF 15", "US", "drug"),
        ("Day cream SPF 15", "EU", "sunscreen"),
        ("Removes wrinkles overnight", "US", "drug"),
        ("Stimulates collagen", "US", "drug"),
        ("Anti-dandruff shampoo", "US", "drug"),
        ("Acne wash", "US", "drug"),
        ("Natural antiperspirant stick", "US", "drug"),
        ("Kills bacteria", "US", "drug"),
        ("Kills bacteria", "EU", "biocide"),
        ("hand SANITIZER", "EU", "biocide"),
        ("Mosquito balm", "EU", "biocide"),
        ("Mosquito balm", "US", "pesticide"),
        ("Soothes eczema", "EU", "drug or medicine"),
        ("Aromatherapy roll-on: relieves anxiety", "US", "drug or medicine"),
        ("regrows hair", "EU", "drug or medicine"),
        ("Paraben-free", "EU", "unfair"),
        ("100% safe", "EU", "misleading"),
    ],
)
def test_a_claim_crosses_the_border(text, jurisdiction, kind):
    assert kind in kinds(text, jurisdiction)


@pytest.mark.parametrize(
    ("text", "jurisdiction"),
    [
        ("Reduces the appearance of wrinkles", "US"),
        ("Moisturises and softens", "US"),
        ("Anti-dandruff shampoo", "EU"),
        ("Contains no sunscreen", "US"),
        ("After sun lotion", "EU"),
        ("Shampoo for dry hair", "US"),
        ("A treat for dry hands", "US"),
        ("Relaxing hair treatment", "US"),
        ("Secure cap", "US"),
    ],
)
def test_a_cosmetic_claim_stays_on_its_side(text, jurisdiction):
    assert not [f for f in found(text, jurisdiction) if f.severity != Severity.NOTE]


@pytest.mark.parametrize("rule", claim_rules(), ids=lambda r: r.rule_id)
def test_every_rule_fires_on_its_words_and_not_on_what_it_leaves_out(rule):
    for jurisdiction in rule.jurisdictions:
        said = {f.rule for f in found(rule.words[0].removesuffix("*"), jurisdiction)}
        assert rule.rule_id in said
        assert rule.rule_id not in {f.rule for f in found("a plain hand cream with oat", jurisdiction)}
        for phrase in rule.unless:
            assert rule.rule_id not in {f.rule for f in found(phrase, jurisdiction)}


def test_the_words_are_quoted_and_the_rule_named():
    finding = found("Soothes eczema and ECZEMA", "US")[0]
    assert finding.message.count('"eczema"') == 1
    assert "FD&C Act 201(g)(1)" in str(finding.source)


def present(parts):
    made = [DosedMaterial(n, Decimal(p), (Part(n, Decimal(100)),)) for n, p in parts.items()]
    return ingredients(made, classes(), facts_for(parts))


TRUE_SOAP = {"Sodium Olivate": "60", "Sodium Cocoate": "20", "Aqua": "15", "Glycerin": "5"}


# 21 CFR 701.20: bulk is alkali salt of fatty acids, it does the cleaning, and it is sold only as soap
@pytest.mark.parametrize(
    ("parts", "words", "cosmetic_claims", "kind"),
    [
        (TRUE_SOAP, (), False, "soap"),
        (TRUE_SOAP, (), True, "cosmetic"),
        (TRUE_SOAP, ("kills germs",), False, "drug"),
        ({**TRUE_SOAP, "Sodium Lauryl Sulfate": "5"}, (), False, "cosmetic"),
        ({"Sodium Cocoyl Isethionate": "60", "Aqua": "10"}, (), False, "cosmetic"),
        ({"Sodium Olivate": "20", "Kaolin": "60", "Aqua": "20"}, (), False, "cosmetic"),
    ],
)
def test_soap_is_told_from_cosmetic_and_drug(parts, words, cosmetic_claims, kind):
    drug = claims_a_drug(words, claim_rules())
    standing = soap_standing(present(parts), drug, cosmetic_claims)
    assert standing.kind == kind
    assert standing.why


def test_soap_listed_as_fats_and_alkali_is_judged_by_its_salts():
    made = present({"Olea Europaea Fruit Oil": "70", "Sodium Hydroxide": "9", "Aqua": "21"})
    assert soap_standing(made, False, False).kind == "cosmetic"
    assert soap_standing(made, False, False, Decimal(72)).kind == "soap"
