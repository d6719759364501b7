"""Quantities as people speak them, against the exact values of NIST and the imperial definitions."""

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.quantities import check_density, convert, parse_grams, parse_quantity, to_grams, to_millilitres
from app.science.units import Measure, find_unit

# NIST Handbook 44 appendix C and SP 811 appendix B: exact by definition.
NIST_GRAMS = {
    "1 oz": "28.349523125", "1 lb": "453.59237", "1 grain": "0.06479891", "1 troy oz": "31.1034768",
    "1 stone": "6350.29318", "1 kg": "1000", "1 mg": "0.001", "1 µg": "0.000001", "1 tonne": "1000000",
    "1 dram": "1.7718451953125", "16 oz": "453.59237", "7000 grains": "453.59237", "14 lb": "6350.29318",
    "1 imperial lb": "453.59237", "2 UK oz": "56.69904625",
}  # fmt: skip
NIST_MILLILITRES = {
    "1 tsp": "4.92892159375", "1 tbsp": "14.78676478125", "1 fl oz": "29.5735295625", "1 cup": "236.5882365",
    "1 pint": "473.176473", "1 quart": "946.352946", "1 gallon": "3785.411784", "1 fl dr": "3.6966911953125",
    "231 cubic inches": "3785.411784", "1 US legal cup": "240", "1 gill": "118.29411825", "8 dashes": "4.92892159375",
    # UK Units of Measurement Regulations 1995: the gallon of 4.54609 L and its parts.
    "1 imperial fl oz": "28.4130625", "1 UK pint": "568.26125", "1 imperial gallon": "4546.09",
    "1 UK quart": "1136.5225", "1 fl oz UK": "28.4130625", "1 fl. oz (imperial)": "28.4130625",
    "1 fl oz US customary": "29.5735295625", "1 cup US legal": "240", "1 fluid ounce (U.K.)": "28.4130625",
    # Metric kitchen measures.
    "1 metric tsp": "5", "1 tbsp (metric)": "15", "1 metric cup": "250", "1 Australian tbsp": "20", "1 UK tsp": "5",
    "1 dessertspoon": "10", "1 L": "1000", "1 dl": "100", "1 cL": "10", "5 cc": "5", "5 cm3": "5", "10 µL": "0.01",
    "10 \u03bcl": "0.01", "1 m3": "1000000",
}  # fmt: skip


@pytest.mark.parametrize(("text", "grams"), NIST_GRAMS.items())
def test_weights_are_exact(text: str, grams: str) -> None:
    assert to_grams(parse_quantity(text)) == Decimal(grams)


@pytest.mark.parametrize(("text", "millilitres"), NIST_MILLILITRES.items())
def test_volumes_are_exact(text: str, millilitres: str) -> None:
    assert to_millilitres(parse_quantity(text)) == Decimal(millilitres)


TYPED = {
    "1/2 tsp": ("0.5", "tsp"), "0,75 g": ("0.75", "g"), "8 fl oz": ("8", "fl oz"), "20 drops": ("20", "drops"),
    "1 1/2 cups": ("1.5", "cup"), "1½ cup": ("1.5", "cup"), "2.5oz": ("2.5", "oz"), "8 fl. oz.": ("8", "fl oz"),
    "1.5 fl.oz": ("1.5", "fl oz"), "2 tsp.": ("2", "tsp"), "1 fluid_ounce": ("1", "fl oz"),
    "1 000 g": ("1000", "g"), "1 234,5 g": ("1234.5", "g"),
    "3 TABLESPOONS": ("3", "tbsp"), "2 Lbs": ("2", "lb"), "1,5ml": ("1.5", "mL"), "1 fluid ounce": ("1", "fl oz"),
    "1 lb 3 oz": ("19", "oz"), "1 lb, 3 oz": ("19", "oz"), "1 lb,3 oz": ("19", "oz"), "1 lb and 3 oz": ("19", "oz"),
    "1 lb + 3 oz": ("19", "oz"), "1 cup 2 tbsp": ("18", "tbsp"), "1 stone 2 lb": ("16", "lb"),
    "1 1/2 lb 2 1/4 oz": ("26.25", "oz"), "1 gal 1 qt 1 pt": ("11", "pt"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "read"), TYPED.items())
def test_a_quantity_is_read_as_typed(text: str, read: tuple[str, str]) -> None:
    quantity = parse_quantity(text)
    assert (quantity.amount, quantity.unit.symbol) == (Decimal(read[0]), read[1])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "amount and a unit"), ("g", "no number"), ("5", "unit"), ("five g", "no number"), ("5 blobs", "not known"),
        ("5 gr", "grain or gram"), ("3 T", "teaspoon, tablespoon or tonne"), ("5 cm", "length"), ("-5 g", "negative"),
        ("1,234 g", "1234 or 1.234"), ("1.234,5 g", "two ways"), ("1 g 2 ml", "cannot be added"),
        ("1e3 g", "not an amount"),
        ("1 lb 3", "unit"), ("1_0 g", "not an amount"), ("٣ g", "digits 0 to 9"), ("1/0 g", "zero"),
        ("2 x 5 g", "not known"),
        ("1 lb - 3 oz", "not known"), ("1 imperial kg", "no imperial kg"), ("nan g", "no number"),
        ("1 Australian lb", "no Australian lb"),
        ("=1 g", "not an amount"),
        ("9" * 50 + " g", "digits"), ("1 g " * 10, "not an amount"), ("2 spoons", "tsp or tbsp"), ("1 ton", "tonne"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_told_at_its_field(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as error:
        parse_quantity(text, "quantity")
    assert error.value.field == "quantity"


@pytest.mark.parametrize("text", ["1 tsp", "1 cup", "8 fl oz", "1 pint"])
def test_a_bare_kitchen_measure_is_us_and_says_so(text: str) -> None:
    assert "US customary" in parse_quantity(text).notes[0]
    assert parse_quantity(text.replace(" ", " US ", 1)).notes == ()


@pytest.mark.parametrize("text", ["1 lb 3", "5 g 3", "1,5 2 g", "2 + 3 g"])
def test_of_several_parts_none_is_taken_to_be_grams(text: str) -> None:
    with pytest.raises(Invalid, match="Enter the unit too"):
        parse_quantity(text, default_unit="g")


def test_ounces_of_weight_and_of_volume_are_told_apart() -> None:
    assert parse_quantity("8 oz").unit.measure is Measure.MASS
    assert parse_quantity("8 fl oz").unit.measure is Measure.VOLUME
    with pytest.raises(Invalid, match="enter fl oz"):
        to_millilitres(parse_quantity("8 oz"))


def test_drops_are_rough_and_count_twenty_to_the_millilitre() -> None:
    drops = parse_quantity("35 drops")
    assert drops.rough
    assert "rough" in drops.notes[0]
    assert to_millilitres(drops) == Decimal("1.75")


def test_a_volume_without_density_is_never_a_weight() -> None:
    with pytest.raises(Invalid, match="density") as error:
        to_grams(parse_quantity("1 tbsp"), None, "lines[0].amount")
    assert error.value.field == "lines[0].amount"


@pytest.mark.parametrize(
    ("density", "grams"), [("0.9608", "14.2"), ("0.913", "13.5"), ("0.99821", "14.76")], ids=["castor", "shea", "water"]
)
def test_a_tablespoon_weighs_what_its_density_says(density: str, grams: str) -> None:
    assert abs(to_grams(parse_quantity("1 tbsp"), Decimal(density)) - Decimal(grams)) < Decimal("0.01")


@pytest.mark.parametrize("density", ["0", "-1", "0.0001", "998", "1000"])
def test_an_implausible_density_is_refused(density: str) -> None:
    with pytest.raises(Invalid, match="kg/m³"):
        check_density(Decimal(density), "density_g_ml")


def test_a_conversion_is_exact_only_by_definitions() -> None:
    litre, gram = find_unit("L"), find_unit("g")
    assert convert(parse_quantity("2 gal"), litre).exact
    assert not convert(parse_quantity("2 gal"), gram, Decimal("0.9")).exact
    assert not convert(parse_quantity("20 drops"), find_unit("mL")).exact
    assert not convert(parse_quantity("1 mL"), find_unit("drops")).exact
    assert "not needed" in convert(parse_quantity("1 oz"), gram, Decimal("0.9")).notes[-1]


UNITS = ["g", "oz", "lb", "mL", "tsp", "metric tbsp", "imperial fl oz", "cup", "L", "grain", "troy oz"]


@given(st.decimals("0.001", 10**6, places=3), st.sampled_from(UNITS), st.sampled_from(UNITS))
@settings(max_examples=150)
def test_converting_there_and_back_gives_the_amount_again(amount: Decimal, one: str, other: str) -> None:
    density = Decimal("0.913")
    there = convert(parse_quantity(f"{amount:f} {one}"), find_unit(other), density)
    back = there.value * find_unit(other).size / find_unit(one).size
    if find_unit(one).measure is not find_unit(other).measure:
        back = back / density if find_unit(one).measure is Measure.VOLUME else back * density
    assert abs(back - amount) <= amount * Decimal("1e-24")


@given(st.text(max_size=40))
@settings(max_examples=200)
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    with suppress(Invalid):
        quantity = parse_quantity(text)
        assert quantity.amount.is_finite()
        assert quantity.amount >= 0


@pytest.mark.parametrize("text", ["0", "0 g", "0.0 kg"])
def test_a_weight_of_nothing_is_refused_unless_the_field_allows_it(text):
    with pytest.raises(Invalid, match="above 0"):
        parse_grams(text, "grams")
    assert parse_grams(text, "grams", low=Decimal(0)) == 0


@pytest.mark.parametrize(("text", "grams"), [("1.2 kg", "1200"), ("500 mg", "0.5"), ("12.5 gram", "12.5"), ("3", "3")])
def test_a_weight_is_read_with_any_unit_and_its_limits_are_inside(text, grams):
    assert parse_grams(text, "grams") == Decimal(grams)
    assert parse_grams(text, "grams", low=Decimal(grams), high=Decimal(grams)) == Decimal(grams)
    with pytest.raises(Invalid, match="least allowed"):
        parse_grams(text, "grams", low=Decimal(grams) + 1)
    with pytest.raises(Invalid):
        parse_grams(text, "grams", high=Decimal(grams) / 2)


@pytest.mark.parametrize(("density", "taken"), [("0.001", True), ("25", True), ("0.00099", False), ("25.01", False)])
def test_a_density_lies_between_that_of_a_gas_and_that_of_the_heaviest_metal(density: str, taken: bool) -> None:
    """Osmium has 22.6 g/mL, air 0.0012; a density typed in kg/m³ is a thousand times too large."""
    if taken:
        assert check_density(Decimal(density)) == Decimal(density)
        return
    with pytest.raises(Invalid, match="out of range"):
        check_density(Decimal(density), "density")
