"""Names and warnings of a declaration, on a book of a few invented rows: one thing at a time, in both jurisdictions."""

from decimal import Decimal as D
from typing import Any

import pytest

from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.declaration.listing import declare
from app.science.declaration.names import NameBook, NameRow, colour_name, find_colour, ingredient_name
from app.science.declaration.values import Declaration
from app.science.declaration.warnings import check_compositions
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction

EU, US = Jurisdiction.EU, Jurisdiction.US
ROSE = NameRow("plant", ("ROSA ALBA",), "Rosa Alba", "White Rose")
TREE = NameRow("plant", ("ROSA ALBA MAXIMA",), "Rosa Alba Maxima", "Great Rose")
RED = NameRow("colour", ("RED 7", "CI 15850", "CI 15850:1"), "CI 15850", "Red 7", ("5281-04-9",), "certified")
RUST = NameRow("colour", ("IRON OXIDES",), "", "Iron Oxides", (), "mixed")
RUST_RED = NameRow("colour", ("CI 77491",), "CI 77491", "Iron Oxides", ("1309-37-1",))
HOMELESS = NameRow("colour", ("BEET RED",), "CI 75840", "", ())
BOOK = NameBook.of([NameRow("water", ("AQUA", "WATER"), "Aqua", "Water"), ROSE, TREE, RED, RUST, RUST_RED, HOMELESS])

NAMES = [
    ("water", "Aqua", "Water", "AQUA"),
    ("Rosa Alba Flower Oil", "Rosa Alba Flower Oil", "Rosa Alba (White Rose) Flower Oil", "ROSA ALBA FLOWER OIL"),
    ("Rosa Alba (White Rose) Flower Oil", "Rosa Alba Flower Oil", "Rosa Alba (White Rose) Flower Oil",
     "ROSA ALBA FLOWER OIL"),
    ("ROSA ALBA FLOWER OIL", "ROSA ALBA FLOWER OIL", "ROSA ALBA (WHITE ROSE) FLOWER OIL", "ROSA ALBA FLOWER OIL"),
    ("Rosa Alba Maxima Wax", "Rosa Alba Maxima Cera", "Rosa Alba Maxima (Great Rose) Wax", "ROSA ALBA MAXIMA CERA"),
    ("Rosa Alba Cera", "Rosa Alba Cera", "Rosa Alba (White Rose) Wax", "ROSA ALBA CERA"),
    ("Rosa Alba", "Rosa Alba", "Rosa Alba", "ROSA ALBA"),  # a plant without a part is no material
    ("Olea Europaea (Olive) Fruit Oil", "Olea Europaea Fruit Oil", "Olea Europaea (Olive) Fruit Oil",
     "OLEA EUROPAEA FRUIT OIL"),
    ("Sodium Chloride (Sea) Thing", "Sodium Chloride (Sea) Thing", "Sodium Chloride (Sea) Thing",
     "SODIUM CHLORIDE (SEA) THING"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "eu", "us", "key"), NAMES)
def test_a_name_is_written_as_its_jurisdiction_has_it(typed: str, eu: str, us: str, key: str) -> None:
    found = ingredient_name(typed, EU, BOOK), ingredient_name(typed, US, BOOK)
    assert (found[0].text, found[1].text) == (eu, us)
    assert found[0].key == found[1].key == key


COLOURS = [
    ("Red 7", None, "CI 15850", "Red 7", RED, False),
    ("D&C Red No. 7", None, "CI 15850", "Red 7", RED, False),
    ("Red 7 Lake", None, "CI 15850", "Red 7 Lake", RED, True),
    ("CI 15850", None, "CI 15850", "Red 7", RED, False),
    ("CI 15850:2", None, "CI 15850:2", "Red 7", RED, False),
    ("CI 15850:2 Lake", None, "CI 15850:2", "Red 7 Lake", RED, True),
    ("15850", None, "CI 15850", "Red 7", RED, False),
    ("CI 11111", None, "CI 11111", "CI 11111", None, False),
    ("Iron Oxides", None, "Iron Oxides", "Iron Oxides", RUST, False),
    ("Iron Oxides", "1309-37-1", "CI 77491", "Iron Oxides", RUST_RED, False),
    ("My red", "5281-04-9", "CI 15850", "Red 7", RED, False),
    ("Beet Red", "1309-37-1", "CI 75840", "Beet Red", HOMELESS, False),  # its name goes before its number
    ("Beet Red", None, "CI 75840", "Beet Red", HOMELESS, False),
    ("My red", None, "My red", "My red", None, False),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "cas", "eu", "us", "row", "lake"), COLOURS)
def test_a_colour_is_found_by_name_number_or_cas(
    typed: str, cas: str | None, eu: str, us: str, row: NameRow | None, lake: bool
) -> None:
    assert find_colour(typed, cas, BOOK) == (row, lake)
    assert (colour_name(typed, cas, EU, BOOK).text, colour_name(typed, cas, US, BOOK).text) == (eu, us)


def one(*parts: Part, percent: str = "100", name: str = "jar") -> DosedMaterial:
    return DosedMaterial(name, D(percent), parts)


def declared(law: Jurisdiction, *materials: DosedMaterial) -> Declaration:
    return declare(materials, law, BOOK)


OIL = Part("Oil", D(100))
COLOUR, MAY, INCIDENTAL = PartKind.COLOURANT, {"may_contain": True}, PartKind.INCIDENTAL
WARNED: dict[str, tuple[Jurisdiction, tuple[DosedMaterial, ...], list[str]]] = {
    "nothing": (EU, (one(OIL),), []),
    "a sum within what two decimals show": (EU, (one(OIL, percent="99.99"),), []),
    "a sum short of a whole": (EU, (one(OIL, percent="99.98"),), ["The places in the list may be wrong."]),
    "parts within what two decimals show": (EU, (one(Part("Oil", D("99.99"))),), []),
    "parts short of a whole": (EU, (one(Part("Oil", D("99.9"))),), ["The parts of jar add up to 99.9 %; only"]),
    "shades beside a whole": (
        EU, (one(OIL), one(Part("Red 7", D(100), COLOUR, **MAY), percent="0", name="shade")), ["'+/-' is for"],
    ),
    "an ingredient under may contain": (
        EU, (one(Part("Oil", D(99)), Part("Talc", D(1), **MAY)),), ["Talc is no colourant, so it cannot stand under"],
    ),
    "a colour by its number": (
        EU, (one(Part("CI 15850", D(1)), Part("Oil", D(99))),), ["CI 15850 is a colour by its name"],
    ),
    "a certified colour as an ingredient": (
        EU, (one(Part("Red 7", D(1)), Part("Oil", D(99))),), ["Red 7 is listed by its weight; if it is"],
    ),
    "a shade that is in every jar": (
        EU, (one(Part("Red 7", D(1), COLOUR), Part("Oil", D(99)), Part("Red 7", D(1), COLOUR, **MAY)),),
        ["CI 15850 is in every jar, so it is listed once", "'+/-' is for decorative"],
    ),
    "as colour and by weight": (
        EU, (one(Part("My red", D(1), COLOUR), Part("My red", D(1)), Part("Oil", D(98))),),
        ["My red stands in the list twice", "My red: the EU wants the Colour Index number"],
    ),
    "incidental": (EU, (one(Part("Oil", D(99)), Part("Salt", D(1), INCIDENTAL)),), ["Salt is listed although"]),
    "a mixed word": (EU, (one(Part("Iron Oxides", D(1), COLOUR), Part("Oil", D(99))),), ["Iron Oxides: keep only"]),
    "a colour without a number": (
        EU, (one(Part("My red", D(1), COLOUR), Part("Oil", D(99))),), ["My red: the EU wants the Colour Index number"],
    ),
    "a number nobody knows": (EU, (one(Part("CI 11111", D(1), COLOUR), Part("Oil", D(99))),), []),
    "a colour with its number": (EU, (one(Part("Beet Red", D(1), COLOUR), Part("Oil", D(99))),), []),
    "incidental, in the US": (
        US, (one(Part("Oil", D(99)), Part("Salt", D(1), INCIDENTAL)),), ["Salt is left out as incidental"],
    ),
    "incidental and put in, in the US": (
        US, (one(Part("Oil", D(98)), Part("Salt", D(1)), Part("Salt", D(1), INCIDENTAL)),), [],
    ),
    "a colour without a US name": (
        US, (one(Part("Beet Red", D(1), COLOUR), Part("Oil", D(99))),), ["Beet Red: no US listed name is known"],
    ),
    "a certified colour by its number, in the US": (
        US, (one(Part("CI 15850", D(1), COLOUR), Part("Oil", D(99))),), ["CI 15850 is named Red 7; the name"],
    ),
    "a certified colour by its name, in the US": (US, (one(Part("Red 7", D(1), COLOUR), Part("Oil", D(99))),), []),
    "an uncertified colour by its number, in the US": (
        US, (one(Part("CI 77491", D(1), COLOUR), Part("Oil", D(99))),), [],
    ),
    "allergens, in the US": (
        US, (one(Part("Oil", D(100), allergens=(AllergenShare("Linalool", D(1)),))),), ["The US has no list"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("law", "materials", "said"), WARNED.values(), ids=WARNED)
def test_what_to_look_at_is_said_and_nothing_else(law: Jurisdiction, materials: Any, said: list[str]) -> None:
    found = declared(law, *materials).warnings
    assert len(found) == len(said), found
    for words, wanted in zip(found, said, strict=True):
        assert wanted in words


def test_a_place_is_explained_with_what_goes_with_it() -> None:
    scent = (Part("Rose", D(1), PartKind.PERFUME), Part("Mint", D(1), PartKind.FLAVOUR), Part("Oil", D(98)))
    by_name = {entry.name: entry.rule for entry in declared(EU, one(*scent)).entries}
    assert "One word for all its parts" in by_name["Parfum"]
    assert "One word for all its parts" in by_name["Aroma"]
    assert "One word for all its parts" not in by_name["Oil"]
    both = declared(EU, one(OIL, percent="50", name="a"), one(OIL, percent="50", name="b")).entries[0].rule
    assert "Sum of what a, b bring." in both
    nano = declared(EU, one(Part("Oil", D(100), nano=True))).entries[0]
    assert (nano.name, "Nano form" in nano.rule) == ("Oil (nano)", True)
    assert "Nano form" not in declared(US, one(Part("Oil", D(100), nano=True))).entries[0].rule
    mixed = declared(EU, one(Part("Oil", D(99)), Part("Oil", D(1), INCIDENTAL))).entries[0].rule
    assert "Marked incidental" not in mixed


@pytest.mark.parametrize(
    ("materials", "field"),
    [
        ([one(OIL), one()], "materials[1].composition"),
        ([one(Part("Oil", D("100.5")))], ""),
        ([one(Part("Oil", D("100.6")))], "materials[0].composition"),
        ([one(OIL, Part("Red", D(50), **MAY))], ""),
        ([one(OIL, Part(" ", D(0)))], "materials[0].composition[1].inci"),
        ([one(Part("Oil", D(100), allergens=(AllergenShare("L", D(60)), AllergenShare("M", D("40.5")))))], ""),
        ([one(Part("Oil", D(100), allergens=(AllergenShare("L", D(60)), AllergenShare("M", D("40.6")))))],
         "materials[0].composition[0].allergens"),
    ],
)  # fmt: skip
def test_a_composition_that_is_more_than_a_whole_is_refused(materials: list[DosedMaterial], field: str) -> None:
    if not field:
        check_compositions(materials)
        return
    with pytest.raises(Invalid) as wrong:
        check_compositions(materials)
    assert wrong.value.field == field
