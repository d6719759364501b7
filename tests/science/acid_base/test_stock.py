import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.stock_solutions import StockMaterial, make_stock, sodium_hydroxide_density
from app.science.errors import Invalid


def material(name, assay, liquid=False):
    return StockMaterial(acid_base_table().find(name).substance, assay, liquid)


def test_ten_percent_from_pearls():
    stock = make_stock(material("Sodium Hydroxide", 98), 10, 200)
    assert stock.material_g == pytest.approx(20.408, abs=0.001)
    assert stock.material_g + stock.water_g == pytest.approx(200)
    assert stock.density_g_ml == pytest.approx(1.1089, abs=1e-4)
    assert stock.mmol_per_g == pytest.approx(2.50, abs=0.005)
    assert stock.temperature_rise_c == pytest.approx(28)


def test_ten_percent_from_liquor_of_45_percent():
    stock = make_stock(material("Potassium Hydroxide", 45, liquid=True), 10, 90)
    assert (stock.material_g, stock.water_g) == (pytest.approx(20), pytest.approx(70))
    assert stock.temperature_rise_c is None
    assert stock.density_g_ml is None


def test_an_acid_stock_needs_no_heat_words_but_a_label():
    stock = make_stock(material("Citric Acid", 100), 50, 100)
    assert stock.material_g == 50
    assert "Citric Acid 50 % w/w" in stock.label
    assert "goggles" in " ".join(stock.cautions).lower()


def test_alkali_goes_into_water_with_its_cautions():
    stock = make_stock(material("Sodium Hydroxide", 98), 20, 100)
    text = " ".join([*stock.steps, *stock.cautions, stock.label])
    assert stock.steps[0].startswith("Weigh 79.59 g of cold water")
    for word in ("goggles", "gloves", "aluminium", "never water to alkali", "CORROSIVE", "58 °C"):
        assert word in text


def test_a_strength_that_can_boil_says_so():
    assert any("boil" in step for step in make_stock(material("Sodium Hydroxide", 98), 45, 100).steps)


@pytest.mark.parametrize(("strength", "total", "field"), [(0, 10, "strength_percent"), (99, 10, "strength_percent"),
                                                           (10, 0, "total_g")])  # fmt: skip
def test_impossible_stocks_are_refused(strength, total, field):
    with pytest.raises(Invalid) as error:
        make_stock(material("Sodium Hydroxide", 98), strength, total)
    assert error.value.field == field


@pytest.mark.parametrize(("percent", "density"), [(5, 1.0538), (18, 1.197), (30, 1.3277), (40, 1.4299)])
def test_density_table(percent, density):
    assert sodium_hydroxide_density(percent) == pytest.approx(density)
    assert sodium_hydroxide_density(60) is None


def test_the_density_table_begins_at_water_and_ends_at_its_last_row():
    """CRC Handbook: water 0.9982 and sodium hydroxide of 0.5 % w/w 1.0039 g/mL at 20 C."""
    assert sodium_hydroxide_density(0) == pytest.approx(0.9982, abs=1e-4)
    assert sodium_hydroxide_density(0.5) == pytest.approx(1.0039, abs=1e-3)
    assert sodium_hydroxide_density(50) is not None
    assert sodium_hydroxide_density(50.1) is sodium_hydroxide_density(-0.1) is None


def test_the_crystal_water_of_a_salt_joins_the_water_of_its_solution():
    """10 g of trisodium citrate dihydrate (294.10 g/mol) bring 2 x 18.015 g of water per mole to 90 g."""
    moles = 10 / 294.10
    salt = acid_base_table().find("Sodium Citrate", "dihydrate").substance
    expected = 1000 * moles / (90 + moles * 2 * 18.015)
    assert make_stock(StockMaterial(salt, 100, liquid=False), 10, 100).molality == pytest.approx(expected, rel=2e-4)


def test_more_than_dissolves_is_refused():
    """Sodium bicarbonate dissolves to about 9 % at 20 °C (CRC Handbook)."""
    with pytest.raises(Invalid, match="dissolves about 9 %") as error:
        make_stock(material("Sodium Bicarbonate", 100), 20, 100)
    assert error.value.field == "strength_percent"


@pytest.mark.parametrize(
    ("percent", "density"),
    [(0, 0.9982), (1, 1.0095), (5, 1.0538), (10, 1.1089), (20, 1.2191), (30, 1.3279), (40, 1.4300), (50, 1.5253)],
)
def test_the_density_of_lye_is_that_of_the_handbooks(percent, density):
    """Sodium hydroxide in water at 20 °C; Perry's Chemical Engineers' Handbook and the CRC Handbook (from memory)."""
    assert sodium_hydroxide_density(percent) == pytest.approx(density, abs=5e-4)


@pytest.mark.parametrize("percent", [1, 5, 10, 18, 20, 25, 30])
def test_lye_warms_up_by_its_heat_of_solution(percent):
    """44.5 kJ/mol over a heat capacity of about 3.8 J/(g K): 0.01 x percent / 39.997 mol in each gram."""
    rise = make_stock(material("Sodium Hydroxide", 100), percent, 100).temperature_rise_c
    assert rise == pytest.approx(44500 * 0.01 * percent / 39.997 / 3.8, rel=0.06)


def test_a_liquor_of_sodium_hydroxide_has_given_off_its_heat_already():
    assert make_stock(material("Sodium Hydroxide", 50, liquid=True), 10, 100).temperature_rise_c is None
    assert make_stock(material("Sodium Hydroxide", 98), 10, 100).temperature_rise_c == pytest.approx(28)
    assert make_stock(material("Potassium Hydroxide", 90), 10, 100).temperature_rise_c is None
