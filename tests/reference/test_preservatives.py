"""Whole formulas read for preservatives: blends as sold, charges, water of hydrosols, and the positive list."""

from decimal import Decimal

import pytest

from app.reference.limits import limit_rules
from app.reference.mixtures import MixtureEntry, build_mixture
from app.reference.preservatives import assess_materials, assess_mixture, preservatives, water_activity
from app.science.composition import DosedMaterial, Part
from app.science.names import inci_key
from app.science.preservation import Preserved, SystemVerdict


def judged(*lines, ph=None, leave_on=True):
    mixture = build_mixture([MixtureEntry(name, Decimal(str(percent))) for name, percent in lines]).mixture
    return assess_mixture(mixture, leave_on, ph)


def test_benzyl_alcohol_with_dehydroacetic_acid_passes_as_the_blend_it_is():
    found = judged(("Benzyl Alcohol", 0.87), ("Dehydroacetic Acid", 0.08), ph=5)
    assert [s.verdict for s in found.systems] == [SystemVerdict.WITHIN, SystemVerdict.WITHIN]
    assert found.status is Preserved.PRESERVED
    alone = judged(("Dehydroacetic Acid", 0.08), ph=5)
    assert alone.systems[0].verdict is SystemVerdict.LITTLE


def test_the_parabens_of_pharmacopoeial_creams_are_a_usual_amount():
    """Methylparaben 0.18 % with propylparaben 0.02 % (Handbook of Pharmaceutical Excipients, from memory)."""
    found = judged(("Methylparaben", 0.18), ("Propylparaben", 0.02), ph=6)
    assert [s.verdict for s in found.systems] == [SystemVerdict.WITHIN, SystemVerdict.WITHIN]


def test_too_little_of_the_blend_is_too_little():
    found = judged(("Benzyl Alcohol", 0.087), ("Dehydroacetic Acid", 0.008), ph=5)
    assert {s.verdict for s in found.systems} == {SystemVerdict.LITTLE}
    assert found.status is Preserved.UNPRESERVED


def test_the_scarcest_part_sets_the_dose_of_a_blend():
    found = judged(("Benzyl Alcohol", 0.87), ("Dehydroacetic Acid", 0.04), ph=5)
    assert "0.5 % of it" in found.systems[0].why


def test_benzalkonium_beside_sles_is_out_of_action():
    found = judged(("Benzalkonium Chloride", 0.1), ("Sodium Laureth Sulfate", 10), ph=6)
    assert found.systems[0].verdict is SystemVerdict.INACTIVATED
    assert found.status is Preserved.UNPRESERVED
    assert (
        judged(("Benzalkonium Chloride", 0.1), ("Decyl Glucoside", 10), ph=6).systems[0].verdict is SystemVerdict.WITHIN
    )


@pytest.mark.parametrize(
    "names",
    [["Rosa Damascena Flower Water"], ["Aloe Barbadensis Leaf Juice"], ["Caprae Lac"], ["Cocos Nucifera Fruit Juice"]],
)
def test_hydrosols_juices_and_milk_are_open_to_germs(names):
    material = DosedMaterial("base", Decimal(100), tuple(Part(name, Decimal(100)) for name in names))
    assert assess_materials([material], leave_on=True).status is Preserved.UNPRESERVED


def test_honey_keeps_itself_and_a_trace_of_phenoxyethanol_preserves_nothing():
    honey = DosedMaterial("honey", Decimal(100), (Part("Mel", Decimal(100)),))
    assert assess_materials([honey], leave_on=True).status is not Preserved.PRESERVED
    assert judged(("Phenoxyethanol", 0.05), ph=6).status is Preserved.UNPRESERVED


def test_water_activity_of_glycerin_follows_raoult():
    """60 g glycerin (92.09 g/mol) in 40 g water: 2.2204 / (2.2204 + 0.6515) mol."""
    mixture = build_mixture([MixtureEntry("Glycerin", Decimal(60))]).mixture
    assert water_activity(mixture, 40.0) == pytest.approx(0.773, abs=0.002)


# Of the names under Annex V in the shipped limits these are no preservatives by their own row: collective rows, calcium
# salts that no library holds, and sulfites, which the table leaves to their other uses.
NOT_JUDGED = {"CALCIUM BENZOATE", "CALCIUM PROPIONATE", "CALCIUM SORBATE", "SODIUM METABISULFITE", "SODIUM SULFITE"}


def test_the_table_knows_the_positive_list():
    listed = {
        inci_key(rule.inci_name)
        for rule in limit_rules("EU")
        if "Annex V entry" in rule.legal_reference and rule.rule_type == "max" and "(" not in rule.inci_name
    }
    assert len(listed) > 40
    assert sorted(listed - preservatives().keys() - NOT_JUDGED) == []
