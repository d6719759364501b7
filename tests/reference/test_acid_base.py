from decimal import Decimal

import pytest

from app.reference.acid_base import PKA_COLUMNS, acid_base_table
from app.reference.limits import limit_rules
from app.reference.mixtures import Conditions, MixtureEntry, build_adjuster, build_mixture
from app.reference.neutraliser_comparison import compare_neutralisers
from app.reference.neutralisers import counter_adjuster, is_base, neutralisers
from app.reference.preservatives import preservatives
from app.reference.tables import read_table
from app.reference.thickeners import thickeners
from app.science.acid_base.cautions import Hazard, cautions, hazard
from app.science.errors import Invalid

TABLE = acid_base_table()
SPECIES = [row["species"] for row in read_table("pka", PKA_COLUMNS)]


def test_the_table_is_whole():
    assert len(SPECIES) == 137
    assert len(set(SPECIES)) == 137


@pytest.mark.parametrize("species", [s for s in SPECIES if s != "xanthan_carboxyl"])
def test_every_species_is_found_by_its_id_and_by_its_inci_name(species):
    by_id = TABLE.find(species)
    assert by_id is not None
    assert TABLE.find(by_id.substance.inci) is not None
    assert by_id.substance.molar_mass > 0


@pytest.mark.parametrize("row", read_table("pka", PKA_COLUMNS), ids=lambda row: row["species"])
def test_every_name_of_the_table_itself_is_found(row):
    if row["species"] != "xanthan_carboxyl" and not row["inci_name"].startswith("("):
        found, by_id = TABLE.find(row["inci_name"]), TABLE.find(row["species"])
        assert found.substance.polymer == by_id.substance.polymer
        assert "(" not in row["inci_name"] or found.substance == by_id.substance


@pytest.mark.parametrize("row", read_table("pka", PKA_COLUMNS), ids=lambda row: row["species"])
def test_the_free_form_factor_follows_from_the_molar_masses(row):
    if row["free_form_factor"] and row["weak_species"] in TABLE.families:
        family = TABLE.families[row["weak_species"]]
        factor = family.molar_mass * float(row["weak_mol_per_mol"]) / float(row["molar_mass"])
        assert factor == pytest.approx(float(row["free_form_factor"]), abs=2e-4)


@pytest.mark.parametrize(
    ("name", "hydrate", "molar_mass", "water"),
    [
        ("sodium citrate", None, 294.100, 2),
        ("TRISODIUM CITRATE", None, 294.100, 2),
        ("Sodium Citrate", "anhydrous", 258.069, 0),
        ("Disodium Phosphate", "dodecahydrate", 358.142, 12),
        ("Disodium Phosphate", "7 H2O", 268.064, 7),
        ("Sodium Acetate", "trihydrate", 136.080, 3),
        ("Magnesium Sulfate", None, 246.473, 7),
        ("Sodium Borate", "pentahydrate", 291.297, -2),
        ("Citric Acid Monohydrate", None, 210.139, 1),
    ],
)
def test_hydrates(name, hydrate, molar_mass, water):
    found = TABLE.find(name, hydrate)
    assert found.substance.molar_mass == pytest.approx(molar_mass, abs=0.01)
    assert found.substance.water == pytest.approx(water)


def test_an_assumed_hydrate_is_named():
    built = build_mixture([MixtureEntry("Sodium Citrate", Decimal(1))])
    assert built.notes == ("Sodium Citrate is taken as dihydrate, as it is commonly sold.",)


def test_a_salt_carries_its_second_acid():
    families = [(f.key, n) for f, n in TABLE.find("Chlorhexidine Digluconate").substance.families]
    assert families == [("chlorhexidine", 1), ("gluconic_acid", 2)]


@pytest.mark.parametrize(
    ("entries", "conditions", "field"),
    [
        ([MixtureEntry("Citric Acid", Decimal(60)), MixtureEntry("Glycerin", Decimal(50))], None, "mixture"),
        ([MixtureEntry("Citric Acid", Decimal(1), None, "some")], None, "mixture[0].hydrate"),
        ([MixtureEntry("Citric Acid", Decimal(10))], Conditions(Decimal(95)), "water_percent"),
        ([], Conditions(temperature_c=120), "temperature_c"),
    ],
)
def test_impossible_mixtures_name_their_field(entries, conditions, field):
    with pytest.raises(Invalid) as error:
        build_mixture(entries, conditions)
    assert error.value.field == field


def test_stated_water_takes_the_place_of_water_lines():
    entries = [
        MixtureEntry("Aqua", Decimal(80)),
        MixtureEntry("Citric Acid", Decimal(1)),
        MixtureEntry("Oil", Decimal(19)),
    ]
    built = build_mixture(entries, Conditions(Decimal(80)))
    assert built.mixture.water_percent == 80
    assert not any(line.is_water for line in built.mixture.lines)


@pytest.mark.parametrize("name", ["Unobtainium", "Glycerin", "Aqua"])
def test_an_adjuster_that_moves_nothing_is_refused(name):
    with pytest.raises(Invalid) as error:
        build_adjuster(name, Decimal(10))
    assert error.value.field == "adjuster.inci"


def test_every_row_of_the_small_tables_can_be_used():
    assert {n.role for n in neutralisers()} == {"acid", "base"}
    assert all(is_base(n.adjuster.substance) == (n.role == "base") for n in neutralisers())
    assert all(e.preservative.ph_low < e.preservative.ph_high for e in preservatives().values())
    assert all(e.preservative.use_low < e.preservative.use_high for e in preservatives().values())
    assert all(t.window.full_from < t.window.full_to for t in thickeners())
    marks = {"verified", "partly verified", "common practice", "from memory", "estimate"}
    assert {t.source_status for t in thickeners()} <= marks
    assert {e.source_status for e in preservatives().values()} <= marks


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("Sodium Hydroxide", Hazard.STRONG_ALKALI),
        ("Hydrochloric Acid", Hazard.STRONG_ACID),
        ("Phosphoric Acid", Hazard.STRONG_ACID),
        ("Triethanolamine", Hazard.AMINE),
        ("Arginine", Hazard.AMINO_ACID),
        ("Sodium Bicarbonate", Hazard.CARBONATE),
        ("Lactic Acid", Hazard.ORGANIC_ACID),
        ("Sodium Citrate", Hazard.SALT),
        ("Sodium Chloride", Hazard.SALT),
    ],
)
def test_hazards(name, kind):
    substance = TABLE.find(name).substance
    assert hazard(substance) is kind
    assert cautions(substance)[-1].startswith("Add in steps")


def test_the_way_back_goes_the_other_way():
    assert counter_adjuster(TABLE.find("Triethanolamine").substance).substance.inci == "Citric Acid"
    assert counter_adjuster(TABLE.find("Lactic Acid").substance).substance.inci == "Sodium Hydroxide"


def test_neutralisers_compare_side_by_side():
    built = build_mixture([MixtureEntry("Carbomer", Decimal("0.5"))])
    found = {c.neutraliser.adjuster.substance.inci: c for c in compare_neutralisers(built.mixture, 6.5, 100)}
    assert "Citric Acid" not in found
    lye, amine = found["Sodium Hydroxide"], found["Triethanolamine"]
    assert lye.advice.grams == pytest.approx(1.47, rel=0.02)
    assert amine.advice.grams == pytest.approx(0.5 * 1.17, rel=0.02)
    assert amine.sodium_mmol == 0
    assert lye.sodium_mmol == pytest.approx(lye.advice.grams * 2.5, rel=0.01)
    assert lye.ph_low < 6.5 < lye.ph_high
    assert "2.5 %" in amine.neutraliser.legal_note


def test_ammonia_counts_the_same_in_a_dose_and_against_its_limit():
    """Ammonium hydroxide is sold by its NH3 (17.03 g/mol): 28 % is 28 % NH3 wherever it is counted."""
    substance = acid_base_table().find("Ammonium Hydroxide").substance
    assert substance.molar_mass == pytest.approx(17.031, abs=0.002)
    rule = next(r for r in limit_rules("EU") if "Ammonium Hydroxide" in r.inci_name)
    assert rule.factors["AMMONIUM HYDROXIDE"] == 1
