"""Regulation (EC) 1223/2009, Annex III as amended by (EU) 2023/1545: thresholds strictly exceeded, in the product."""

from decimal import Decimal

import pytest

from app.reference.allergens import allergen_index
from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.rules.allergens import declared_allergens, unsheeted
from app.science.rules.values import Exposure

EU = allergen_index("EU")


def perfume(percent, **shares):
    sheet = tuple(AllergenShare(name.replace("_", " "), Decimal(share)) for name, share in shares.items())
    return DosedMaterial("scent", Decimal(percent), (Part("Parfum", Decimal(100), PartKind.PERFUME, allergens=sheet),))


def named(materials, exposure="leave-on", index=EU):
    return {d.label_name: d.percent for d in declared_allergens(materials, Exposure(exposure), index)}


@pytest.mark.parametrize(
    ("share", "exposure", "declared"),
    [
        # 1 % of a perfume: 0.1 % in it is 0.001 % in the product, which is not more than the threshold
        ("0.1", "leave-on", False),
        ("0.100001", "leave-on", True),
        ("1", "rinse-off", False),
        ("1.00001", "rinse-off", True),
        ("0.5", "rinse-off", False),
    ],
)
def test_the_threshold_is_tested_in_the_product_and_strictly(share, exposure, declared):
    assert ("Limonene" in named([perfume("1", Limonene=share)], exposure)) is declared


def test_all_sources_are_added():
    """0.0006 % from the perfume and 0.0006 % from the oil make 0.0012 %."""
    oil = Part("Mentha Spicata Leaf Oil", Decimal(100), allergens=(AllergenShare("Limonene", Decimal(6)),))
    found = named([perfume("0.1", Limonene="0.6"), DosedMaterial("oil", Decimal("0.01"), (oil,))])
    assert found["Limonene"] == Decimal("0.0012")


def test_a_group_is_declared_by_its_name_and_its_sum():
    """Annex III entry 70: Neral and Geranial are Citral."""
    assert named([perfume("1", Neral="0.06", Geranial="0.05")]) == {"Citral": Decimal("0.0011")}


def test_an_oil_can_be_an_entry_and_bring_others():
    oil = Part("Citrus Limon Peel Oil", Decimal(100), allergens=(AllergenShare("Limonene", Decimal(65)),))
    found = named([DosedMaterial("lemon", Decimal("0.1"), (oil,))])
    assert found == {"Citrus Limon Peel Oil": Decimal("0.1"), "Limonene": Decimal("0.065")}


def test_an_entry_that_lists_itself_in_its_sheet_counts_once():
    part = Part("Linalool", Decimal(100), allergens=(AllergenShare("Linalool", Decimal(97)),))
    assert named([DosedMaterial("linalool", Decimal(1), (part,))]) == {"Linalool": Decimal(1)}


@pytest.mark.parametrize(
    ("written", "label"),
    [
        ("d-Limonene", "Limonene"),
        ("(R)-limonene", "Limonene"),
        ("hexyl cinnamaldehyde", "Hexyl Cinnamal"),
        ("alpha-Pinene", "Pinene"),
        ("Lavandula angustifolia (lavender) oil", "Lavandula Oil/Extract"),
        ("Narcissus Tazetta Extract", "Narcissus Extract"),
        ("Damascenone", "Rose Ketones"),
        ("Citrus Sinensis Peel Oil", "Citrus Aurantium Peel Oil"),
    ],
)
def test_other_names_lead_to_the_entry(written, label):
    assert EU.find(written).label_name == label


def test_a_cas_number_speaks_for_an_unknown_name_but_not_for_a_hydrosol():
    assert EU.find("terpene x", "5989-27-5").label_name == "Limonene"
    assert EU.find("Rosa Damascena Flower Water", "90106-38-0") is None


@pytest.mark.parametrize("entry", EU.entries, ids=lambda e: e.label_name)
@pytest.mark.parametrize("exposure", ["leave-on", "rinse-off"])
def test_every_entry_is_declared_over_its_threshold_and_not_at_it(entry, exposure):
    threshold = {"leave-on": Decimal("0.001"), "rinse-off": Decimal("0.01")}[exposure]
    at = DosedMaterial("x", threshold, (Part(entry.label_name, Decimal(100)),))
    over = DosedMaterial("x", threshold + Decimal("0.0000001"), (Part(entry.label_name, Decimal(100)),))
    assert named([at], exposure) == {}
    assert list(named([over], exposure)) == [entry.label_name]


def test_what_should_have_a_sheet_and_has_none_is_listed():
    parts = ("Parfum", "Lavandula Angustifolia Oil", "Camellia Sinensis Leaf Extract", "Glycerin", "Limonene")
    found = unsheeted([DosedMaterial(p, Decimal(1), (Part(p, Decimal(100)),)) for p in parts], EU)
    assert found == {
        "perfume": ("Parfum",),
        "essential oil": ("Lavandula Angustifolia Oil",),
        "extract": ("Camellia Sinensis Leaf Extract",),
    }


def test_a_sheet_ends_the_question():
    assert unsheeted([perfume("1", Linalool="1")], EU) == {}


def test_a_fatty_oil_needs_no_sheet():
    assert unsheeted([DosedMaterial("o", Decimal(5), (Part("Helianthus Annuus Seed Oil", Decimal(100)),))], EU) == {}


def test_the_finding_names_threshold_amount_and_material(ask):
    finding = next(f for f in ask([perfume("1", Linalool="1")]).findings if "entry 84" in f.rule)
    assert (finding.limit, finding.found, finding.materials) == (Decimal("0.001"), Decimal("0.01"), ("scent",))
    assert finding.inci == ("Linalool",)


def test_an_entry_of_2023_tells_from_when_it_binds(ask):
    finding = next(f for f in ask([perfume("1", Vanillin="1")]).findings if "entry 346" in f.rule)
    assert "31 July 2026" in finding.message


def test_the_united_states_have_no_list_yet(ask):
    verdict = ask([perfume("1", Linalool="5")], jurisdiction="US")
    assert not [f for f in verdict.findings if "Linalool" in f.inci]
