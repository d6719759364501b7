"""Units of mass and volume as cosmetic makers type them, on a pint registry with exact decimals.

Exact values: US customary from the gallon of 231 cubic inches, avoirdupois and troy weights from the pound of
0.45359237 kg (NIST Handbook 44 appendix C; NIST SP 811 appendix B). Imperial volumes from the gallon of 4.54609 L
(UK Units of Measurement Regulations 1995). Metric kitchen measures: 5 and 15 mL, cup 250 mL; Australia's tablespoon
20 mL; US nutrition labelling 5, 15, 30 and 240 mL (21 CFR 101.9(b)(5)(viii)).
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import TYPE_CHECKING, Any

from app.science.errors import Invalid

if TYPE_CHECKING:
    import pint

DROPS_PER_ML = Decimal(20)


class Measure(StrEnum):
    """What a unit measures. Drops are counted and only roughly a volume."""

    MASS = "mass"
    VOLUME = "volume"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of mass or volume.

    ``size`` is what one unit holds, in grams or millilitres. ``rough`` marks drops, pinches and the like. ``remark``
    tells which reading of a word was taken where several are in use.
    """

    name: str
    symbol: str
    measure: Measure
    size: Decimal
    rough: bool = False
    remark: str = ""


_DEFINITIONS = """
gram = [mass]; kilogram = 1000 gram; milligram = 0.001 gram; microgram = 0.000001 gram; tonne = 1000000 gram
pound = 453.59237 gram; ounce = 28.349523125 gram; stone = 6350.29318 gram; grain = 0.06479891 gram
troy_ounce = 31.1034768 gram; dram = 1.7718451953125 gram
millilitre = [volume]; litre = 1000 millilitre; decilitre = 100 millilitre; centilitre = 10 millilitre
microlitre = 0.001 millilitre; cubic_metre = 1000000 millilitre; cubic_inch = 16.387064 millilitre
us_gallon = 3785.411784 millilitre; us_quart = 946.352946 millilitre; us_pint = 473.176473 millilitre
us_cup = 236.5882365 millilitre; us_gill = 118.29411825 millilitre; us_fluid_ounce = 29.5735295625 millilitre
us_tablespoon = 14.78676478125 millilitre; us_teaspoon = 4.92892159375 millilitre
us_fluid_dram = 3.6966911953125 millilitre
imperial_gallon = 4546.09 millilitre; imperial_quart = 1136.5225 millilitre; imperial_pint = 568.26125 millilitre
imperial_gill = 142.0653125 millilitre; imperial_cup = 284.130625 millilitre
imperial_fluid_ounce = 28.4130625 millilitre; imperial_fluid_dram = 3.5516328125 millilitre
imperial_tablespoon = 17.7581640625 millilitre; imperial_teaspoon = 5.91938802083333333333333333 millilitre
metric_teaspoon = 5 millilitre; metric_tablespoon = 15 millilitre; metric_cup = 250 millilitre
dessertspoon = 10 millilitre; australian_tablespoon = 20 millilitre
label_cup = 240 millilitre; label_fluid_ounce = 30 millilitre
drop = 0.05 millilitre; dash = 0.61611519921875 millilitre; pinch = 0.308057599609375 millilitre
"""


@cache
def registry() -> "pint.UnitRegistry[Any]":
    """Build the registry: our units only, every factor an exact decimal.

    Pint is imported at the first quantity, so that a start without one stays quick.
    """
    import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Decimal)
    for definition in re.split(r"[;\n]", _DEFINITIONS):
        if definition.strip():
            units.define(definition.strip())
    return units


# The name of the unit, its symbol, and the words that mean it, written in lower case without points.
_WORDS: tuple[tuple[str, str, str], ...] = (
    ("gram", "g", "g gm gms gram grams gramme grammes"),
    ("kilogram", "kg", "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes"),
    ("milligram", "mg", "mg mgs milligram milligrams milligramme milligrammes"),
    ("microgram", "µg", "µg ug mcg microgram micrograms"),
    ("tonne", "tonne", "tonne tonnes"),
    ("pound", "lb", "lb lbs pound pounds"),
    ("ounce", "oz", "oz ozs ounce ounces|oz av|oz avdp|avoirdupois ounce|avoirdupois ounces|oz wt|wt oz|net wt oz"),
    ("stone", "st", "st stone stones"),
    ("grain", "grain", "grain grains"),
    ("dram", "dram", "dram drams drachm drachms"),
    ("troy_ounce", "troy oz", "ozt|oz t|troy oz|oz troy|troy ounce|troy ounces|apothecaries ounce"),
    ("millilitre", "mL", "ml mls cc cm³ millilitre millilitres milliliter milliliters|cubic centimetre"
     "|cubic centimetres|cubic centimeter|cubic centimeters"),
    ("litre", "L", "l ltr litre litres liter liters dm³"),
    ("decilitre", "dL", "dl decilitre decilitres deciliter deciliters"),
    ("centilitre", "cL", "cl centilitre centilitres centiliter centiliters"),
    ("microlitre", "µL", "µl ul microlitre microlitres microliter microliters"),
    ("cubic_metre", "m³", "m³|cubic metre|cubic metres|cubic meter|cubic meters"),
    ("cubic_inch", "in³", "in³|cu in|cubic inch|cubic inches"),
    ("us_gallon", "gal", "gal gals gallon gallons"),
    ("us_quart", "qt", "qt qts quart quarts"),
    ("us_pint", "pt", "pt pts pint pints"),
    ("us_cup", "cup", "cup cups"),
    ("us_gill", "gill", "gill gills"),
    ("us_fluid_ounce", "fl oz", "floz|fl oz|oz fl|fl ounce|fl ounces|fluid oz|fluid ounce|fluid ounces"),
    ("us_tablespoon", "tbsp", "tbsp tbsps tbs tbl tblsp tablespoon tablespoons"),
    ("us_teaspoon", "tsp", "tsp tsps teaspoon teaspoons"),
    ("us_fluid_dram", "fl dr", "fl dr|fl dram|fl drams|fluid dram|fluid drams|fluid drachm"),
    ("dessertspoon", "dsp", "dsp dessertspoon dessertspoons"),
    ("drop", "drops", "drop drops gtt gtts"),
    ("dash", "dash", "dash dashes"),
    ("pinch", "pinch", "pinch pinches"),
)  # fmt: skip

_SYSTEMS = {
    "us": "us", "u s": "us", "usa": "us", "american": "us", "us customary": "us", "customary": "us",
    "imperial": "imperial", "imp": "imperial", "uk": "uk", "u k": "uk", "british": "uk", "gb": "uk",
    "metric": "metric", "australian": "australian", "australia": "australian", "au": "australian", "aus": "australian",
    "us label": "label", "us legal": "label", "nutrition": "label", "nutrition label": "label", "legal": "label",
}  # fmt: skip

# What a measure of the kitchen is in each system; where a system has no such measure, it is not listed.
_IN_SYSTEM = {
    "metric": {
        "us_teaspoon": "metric_teaspoon", "us_tablespoon": "metric_tablespoon", "us_cup": "metric_cup",
        "dessertspoon": "dessertspoon",
    },
    "australian": {
        "us_teaspoon": "metric_teaspoon", "us_tablespoon": "australian_tablespoon", "us_cup": "metric_cup",
        "dessertspoon": "dessertspoon",
    },
    "imperial": {
        "us_gallon": "imperial_gallon", "us_quart": "imperial_quart", "us_pint": "imperial_pint",
        "us_cup": "imperial_cup", "us_gill": "imperial_gill", "us_fluid_ounce": "imperial_fluid_ounce",
        "us_fluid_dram": "imperial_fluid_dram", "us_tablespoon": "imperial_tablespoon",
        "us_teaspoon": "imperial_teaspoon",
    },
    "label": {
        "us_teaspoon": "metric_teaspoon", "us_tablespoon": "metric_tablespoon", "us_cup": "label_cup",
        "us_fluid_ounce": "label_fluid_ounce",
    },
}  # fmt: skip
_IN_SYSTEM["uk"] = _IN_SYSTEM["imperial"] | {
    "us_teaspoon": "metric_teaspoon",
    "us_tablespoon": "metric_tablespoon",
    "us_cup": "metric_cup",
    "dessertspoon": "dessertspoon",
}

_SYSTEM_NAMES = {"label": "US label", "us": "US", "uk": "UK", "australian": "Australian"}
_WEIGHTS_OF_ANY_SYSTEM = {"pound", "ounce", "stone", "grain"}
_AMBIGUOUS = {
    "gr": "gr can mean grain or gram; enter grain or g.",
    "grs": "grs can mean grains or grams; enter grain or g.",
    "t": "t can mean teaspoon, tablespoon or tonne; enter tsp, tbsp or tonne.",
    "c": "c can mean cup or centi-; enter cup or cL.",
    "#": "# can mean pound or a number; enter lb.",
    "ton": "ton can mean several weights; enter tonne, kg or lb.",
    "tons": "tons can mean several weights; enter tonne, kg or lb.",
    "spoon": "A spoon can be large or small; enter tsp or tbsp.",
    "spoons": "A spoon can be large or small; enter tsp or tbsp.",
    "oz/fl oz": "Enter oz for weight or fl oz for volume.",
}
_REMARKS = {
    "ounce": "oz is read as the ounce of weight, 28.349523125 g; enter fl oz for volume.",
    "imperial_teaspoon": "The imperial teaspoon (a third of a tablespoon of 5/8 fl oz) was never fixed by law.",
    "imperial_tablespoon": "The imperial tablespoon (5/8 imperial fl oz) was never fixed by law.",
    "imperial_cup": "The imperial cup (half a pint) was never fixed by law.",
    "drop": "Drops are only a rough guide: read as 20 drops per mL, as for water (15 to 25); oils give 25 to 40 and "
    "alcohol 50 to 60. Count the drops that fill 2 mL, or weigh.",
    "pinch": "A pinch is only a rough guide: read as 1/16 US teaspoon (common practice). Weigh instead.",
    "dash": "A dash is only a rough guide: read as 1/8 US teaspoon (common practice). Weigh instead.",
}


@cache
def _spellings() -> dict[str, tuple[str, str]]:
    found: dict[str, tuple[str, str]] = {}
    for name, symbol, words in _WORDS:
        first, *phrases = words.split("|")
        singles = [first] if name in ("troy_ounce", "us_fluid_ounce") else first.split()
        if name == "us_fluid_dram":
            singles = [first]
        found.update(dict.fromkeys([*singles, *phrases], (name, symbol)))
    return found


def find_unit(text: str, field: str = "") -> Unit:
    """Find the unit a text names: ``g``, ``fl. oz``, ``tbsp (metric)``, ``UK pint``, ``Australian tbsp``.

    Spoons, cups and the larger measures are US customary unless the text says otherwise; the remark says so.

    Raises:
        Invalid: at ``field``, when no unit or more than one is meant.
    """
    bare = re.sub(r"[().]", " ", re.sub(r"(?<=[a-z])[-_](?=[a-z])", " ", text.replace("μ", "µ").lower()))
    bare = re.sub(r"(?<=m|n)3$", "³", bare.strip())
    key = " ".join(bare.split())
    if key in _AMBIGUOUS:
        raise Invalid(field, _AMBIGUOUS[key])
    system, word = _split_system(key)
    if word not in _spellings():
        raise _unknown(text, word, field)
    name, symbol = _spellings()[word]
    return _unit(*_placed(name, symbol, system, field), typed_system=system)


def _split_system(key: str) -> tuple[str, str]:
    """Take the words of a system of measures off either end of a text."""
    words = key.split()
    for size in (2, 1):
        for system, rest in ((words[:size], words[size:]), (words[-size:], words[:-size])):
            if rest and " ".join(system) in _SYSTEMS:
                return _SYSTEMS[" ".join(system)], " ".join(rest)
    return "", key


def _placed(name: str, symbol: str, system: str, field: str) -> tuple[str, str]:
    if system in ("", "us"):
        return name, f"US {symbol}" if system else symbol
    if name in _WEIGHTS_OF_ANY_SYSTEM and system in ("uk", "imperial"):
        return name, symbol
    placed = _IN_SYSTEM[system].get(name)
    if placed is None:
        raise Invalid(field, f"There is no {_SYSTEM_NAMES.get(system, system)} {symbol}; enter {symbol} alone.")
    return placed, f"{_SYSTEM_NAMES.get(system, system)} {symbol}"


def _unit(name: str, symbol: str, *, typed_system: str) -> Unit:
    base = registry().Quantity(Decimal(1), name).to_base_units()
    measure = Measure.MASS if base.check("[mass]") else Measure.VOLUME
    size = Decimal(base.magnitude)
    rough = name in ("drop", "dash", "pinch")
    remark = _REMARKS.get(name, "")
    if name.startswith("us_") and not typed_system:
        remark = f"{symbol} is read as the US customary measure, {size:f} mL; enter metric or imperial for another."
    return Unit(name, symbol, measure, size, rough, remark)


def _unknown(text: str, word: str, field: str) -> Invalid:
    if not word:
        return Invalid(field, "Enter the unit too, such as g, oz or tsp.")
    if word in ("m", "cm", "mm", "in", "inch", "inches", "ft", "feet"):
        return Invalid(field, f"{text.strip()} is a length; enter a weight or a volume, such as g or mL.")
    return Invalid(
        field,
        f"The unit {text.strip()[:40]!r} is not known; enter g, kg, mg, oz, lb, mL, L, fl oz, tsp, tbsp, cup or drops.",
    )
