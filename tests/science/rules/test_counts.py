from decimal import Decimal

import pytest

from app.reference.compatibility import classes, facts_for
from app.science.composition import DosedMaterial, Part
from app.science.rules.counts import count, water_activity
from app.science.rules.natural_origin import natural_origin
from app.science.rules.selectors import ingredients


def present(parts):
    made = [DosedMaterial(n, Decimal(p), (Part(n, Decimal(100)),)) for n, p in parts.items()]
    return ingredients(made, classes(), facts_for(parts))


def test_the_four_counts():
    found = count(
        present(
            {
                "Aqua": "60",
                "Glycerin": "5",
                "Alcohol": "4",
                "Helianthus Annuus Seed Oil": "10",
                "Cetyl Alcohol": "3",
                "Sodium Laureth Sulfate": "9",
                "Cocamidopropyl Betaine": "3",
                "Polyquaternium-10": "0.2",
            }
        )
    )
    assert found.water == Decimal(60)
    assert found.oil_phase == Decimal(13)
    assert found.surfactant_matter == Decimal(12)
    assert found.solids == Decimal("30.2")


@pytest.mark.parametrize(
    ("parts", "activity"),
    # Raoult by hand: n = m / M; 75 % glycerin: 1.3877 / (1.3877 + 0.8144)
    [({"Aqua": "25", "Glycerin": "75"}, 0.630), ({"Aqua": "100"}, 1.0), ({"Glycerin": "100"}, 0.0)],
)
def test_water_activity_by_raoult(parts, activity):
    assert float(water_activity(present(parts))) == pytest.approx(activity, abs=0.001)


def test_salt_binds_by_its_ions():
    # 20 g NaCl gives 2 x 0.3422 mol ions to 4.4407 mol water
    found = water_activity(present({"Aqua": "80", "Sodium Chloride": "20"}))
    assert float(found) == pytest.approx(4.4407 / (4.4407 + 0.6844), abs=0.001)


def test_natural_origin_with_and_without_water():
    """ISO 16128-2: (70 x 1 + 20 x 1 + 10 x 0) / 100 with water; (20 x 1 + 10 x 0) / 30 without."""
    found = natural_origin(present({"Aqua": "70", "Glycerin": "20", "Propylene Glycol": "10"}))
    assert found.with_water == Decimal(90)
    assert found.without_water == Decimal(20) / 30 * 100
    assert found.unknown == ()


def test_a_substance_without_an_index_opens_the_range_and_is_named():
    found = natural_origin(present({"Aqua": "70", "Glycerin": "20", "Some New Ester": "10"}))
    assert (found.with_water, found.with_water_high) == (Decimal(90), Decimal(100))
    assert found.unknown == ("Some New Ester",)


def test_all_water_has_no_share_without_it():
    assert natural_origin(present({"Aqua": "100"})).without_water is None


def test_an_empty_formula_has_none():
    with pytest.raises(ValueError, match="empty"):
        natural_origin(())
