"""Water within names. Outside figures: McCance and Widdowson, The Composition of Foods (5th ed.), ranges for milk
(87 to 90 %) and fruit juice (85 to 90 %); Codex Stan 12-1981 for honey (at most 20 %)."""

from decimal import Decimal

import pytest

from app.reference.acid_base import acid_base_table
from app.reference.inci_names import inci_names
from app.reference.preservatives import assess_mixture
from app.reference.water import water_percent_in, water_table
from app.science.acid_base.model import water_percent
from app.science.acid_base.values import Mixture


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("Aqua", 100, 100),
        ("Water (Aqua)", 100, 100),
        ("Rosa Damascena (Rose) Flower Water", 95, 100),
        ("Hamamelis Virginiana (Witch Hazel) Water", 80, 100),
        ("Aloe Barbadensis Leaf Juice", 98, 99.5),
        ("Cocos Nucifera (Coconut) Fruit Juice", 94, 96),
        ("Citrus Limon Fruit Juice", 85, 93),
        ("Goat Milk", 87, 90),
        ("Caprae Lac", 87, 90),
        ("Galactomyces Ferment Filtrate", 90, 99),
        ("Mel", 15, 20),
        ("Honey (Mel)", 15, 20),
        ("Acetum", 90, 96),
        ("Lavandula Angustifolia hydrosol", 95, 100),
        ("Betula Alba Juice", 85, 98),
    ],
)
def test_a_name_that_holds_water_counts_as_water(name, low, high):
    assert low <= water_percent_in(name) <= high


@pytest.mark.parametrize(
    "name",
    [
        "Aloe Barbadensis Leaf Juice Powder",
        "Lac Powder",
        "Whole Dry Milk",
        "Dried Buttermilk",
        "Lactobacillus Ferment Filtrate Powder",
        "Hydrolyzed Milk Protein",
        "Caramel",
        "Shellac",
        "Prunus Amygdalus Dulcis Oil",
        "Glycerin",
        "Honey Extract",
        "Petroleum Distillates",
        "Hydrolyzed Honey",
    ],
)
def test_a_powder_or_an_oil_does_not(name):
    assert water_percent_in(name) == 0


def test_every_name_of_the_inventory_that_ends_in_water_juice_or_milk_counts():
    ends = (" WATER", " JUICE", " FERMENT FILTRATE", " MILK", " SAP", " VINEGAR")
    names = [n for n in inci_names() if n.endswith(ends) and not n.startswith(("HYDRO", "PALMITOYL", "WHOLE DRY"))]
    names = [n for n in names if "DRY " not in n]
    assert len(names) > 600
    assert [n for n in names if water_percent_in(n) < 80] == []


def test_every_row_has_a_source_and_a_mark():
    for row in water_table().contents:
        assert row.source
        assert row.status in {"verified", "computed", "common practice", "from memory"}
        assert isinstance(row.percent, Decimal)


def test_a_mist_of_rose_water_has_a_water_phase_that_needs_preserving():
    lines = [acid_base_table().line("Rosa Damascena Flower Water", 90.0), acid_base_table().line("Aqua", 8.0)]
    assert water_percent(lines, 0.0) == pytest.approx(96.2)
    found = assess_mixture(Mixture(tuple(lines), 0.0), leave_on=True)
    assert any("open to germs" in gap for gap in found.gaps)
