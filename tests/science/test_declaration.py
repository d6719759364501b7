"""The ingredient list: one case of our own for each paragraph of 21 CFR 701.3 and of Art. 19, and its invariants."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.allergens import declared_allergens
from app.reference.declaration_names import name_book
from app.reference.declaration_notices import DeclarationNotices, declaration_notices
from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.declaration.listing import declare
from app.science.declaration.names import NameBook, colour_name, ingredient_name
from app.science.declaration.values import Declaration, Group
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction

D = Decimal
EU, US = Jurisdiction.EU, Jurisdiction.US
BOTH = pytest.mark.parametrize("law", [EU, US])


def part(inci: str, percent: str = "100", **more: Any) -> Part:
    return Part(inci, D(percent), **more)


def one(inci: str, percent: str, **more: Any) -> DosedMaterial:
    """Make a material that is one substance."""
    return DosedMaterial(inci, D(percent), (part(inci, **more),))


def blend(name: str, percent: str, *parts: Part) -> DosedMaterial:
    return DosedMaterial(name, D(percent), parts)


def labelled(law: Jurisdiction, *materials: DosedMaterial, exposure: str = "leave-on", **more: Any) -> Declaration:
    return declare(materials, law, name_book(), declared_allergens(materials, exposure, law), **more)


def names(declaration: Declaration, group: Group | None = None) -> list[str]:
    return [entry.name for entry in declaration.entries if group in (None, entry.group)]


# --- order and the 1 % line: 701.3(a), (f)(1), (f)(2); Art. 19(1)(g) first and second sentence ---


@BOTH
def test_parts_and_not_materials_are_put_in_descending_order(law: Jurisdiction) -> None:
    found = labelled(
        law,
        one("Glycerin", "21"),
        blend("half water", "50", part("Propanediol", "40"), part("Aqua", "60")),
        one("Betaine", "29"),
    )
    assert [n.replace("Water", "Aqua") for n in names(found)] == ["Aqua", "Betaine", "Glycerin", "Propanediol"]


@BOTH
def test_equal_names_from_all_materials_are_summed_in_any_case(law: Jurisdiction) -> None:
    found = labelled(
        law, one("Glycerin", "40"), one("AQUA", "30"), blend("x", "30", part("water", "50"), part("eau", "50"))
    )
    assert [entry.percent for entry in found.entries] == [60, 40]


def test_exactly_one_percent_keeps_its_place_in_the_eu_and_is_free_in_the_us() -> None:
    formula = [
        one("Aqua", "98"),
        one("Urea", "1.00"),
        one("Allantoin", "0.9999999999"),
        one("Panthenol", "0.0000000001"),
    ]
    assert names(labelled(EU, *formula), Group.MAIN) == ["Aqua", "Urea"]
    assert names(labelled(US, *formula), Group.MAIN) == ["Water"]
    assert "Exactly 1 %" in labelled(EU, *formula).entries[1].rule
    assert "Exactly 1 %" in labelled(US, *formula).entries[1].rule


@BOTH
def test_just_above_one_percent_is_never_free(law: Jurisdiction) -> None:
    found = labelled(law, one("Aqua", "98.9999999999"), one("Urea", "1.0000000001"))
    assert names(found, Group.BELOW_LINE) == []


def test_nothing_is_rounded_before_the_comparison() -> None:
    # ten blends of 1 % that bring a tenth each are exactly 1 %; binary floats say 0.9999999999999999
    tenths = [blend(f"b{i}", "1", part("Urea", "10"), part("Aqua", "90")) for i in range(10)]
    found = labelled(EU, one("Aqua", "90"), *tenths)
    assert (found.entries[1].percent, found.entries[1].group) == (1, Group.MAIN)


@BOTH
def test_the_low_part_is_kept_in_descending_order_and_ties_by_name(law: Jurisdiction) -> None:
    found = labelled(
        law, one("Aqua", "99"), one("Urea", "0.2"), one("Betaine", "0.5"), one("Allantoin", "0.2"), one("Agar", "0.1")
    )
    assert names(found, Group.BELOW_LINE) == ["Betaine", "Allantoin", "Urea", "Agar"]


# --- colours: 701.3(f)(3), (c); Art. 19(1)(g) on colorants ---


@pytest.mark.parametrize(("law", "colours"), [(EU, ["CI 77891", "CI 42090"]), (US, ["Titanium Dioxide", "Blue 1"])])
def test_colours_stand_last_under_their_legal_name_whatever_their_amount(law: Jurisdiction, colours: list[str]) -> None:
    found = labelled(
        law,
        one("Titanium Dioxide", "40", kind=PartKind.COLOURANT),
        one("Aqua", "59.5"),
        one("Urea", "0.4"),
        one("CI 42090", "0.1", kind=PartKind.COLOURANT),
    )
    assert names(found)[-2:] == colours == names(found, Group.COLOURANT)


def test_a_substance_in_two_roles_stands_under_both_names() -> None:
    found = labelled(EU, one("Aqua", "90"), one("Titanium Dioxide", "7"), one("CI 77891", "3", kind=PartKind.COLOURANT))
    assert found.text == "Aqua, Titanium Dioxide, CI 77891"
    american = labelled(
        US, one("Aqua", "90"), one("Titanium Dioxide", "7"), one("CI 77891", "3", kind=PartKind.COLOURANT)
    )
    assert american.text == "Water, Titanium Dioxide, Titanium Dioxide"
    assert any("twice" in warning for warning in american.warnings)


def test_the_iron_oxides_are_numbers_in_the_eu_and_one_name_in_the_us() -> None:
    oxides = [one("CI 77491", "2", kind=PartKind.COLOURANT), one("CI 77499", "3", kind=PartKind.COLOURANT)]
    assert names(labelled(EU, one("Aqua", "95"), *oxides), Group.COLOURANT) == ["CI 77499", "CI 77491"]
    american = labelled(US, one("Aqua", "95"), *oxides)
    assert american.text == "Water, Iron Oxides"
    assert american.entries[1].percent == 5


def test_hair_dyes_keep_their_place_by_weight_in_the_eu_only() -> None:
    formula = [one("Aqua", "90"), one("CI 42090", "8", kind=PartKind.COLOURANT), one("Urea", "2")]
    assert names(labelled(EU, *formula, hair_dye=True)) == ["Aqua", "CI 42090", "Urea"]
    assert names(labelled(US, *formula, hair_dye=True)) == ["Water", "Urea", "Blue 1"]


@pytest.mark.parametrize(
    ("typed", "cas", "eu", "us"),
    [
        ("CI77891", None, "CI 77891", "Titanium Dioxide"),
        ("77891", None, "CI 77891", "Titanium Dioxide"),
        ("Titanium Dioxide (CI 77891)", None, "CI 77891", "Titanium Dioxide"),
        ("zinc oxide", None, "CI 77947", "Zinc Oxide"),
        ("Mica", None, "CI 77019", "Mica"),
        ("Carmine", None, "CI 75470", "Carmine"),
        ("FD&C Blue No. 1", None, "CI 42090", "Blue 1"),
        ("D&C Red No. 7 Calcium Lake", None, "CI 15850:1", "Red 7 Lake"),
        ("Red 7 Lake", None, "CI 15850:1", "Red 7 Lake"),
        ("Blue 1 Aluminum Lake", None, "CI 42090", "Blue 1 Lake"),
        ("CI 19140", None, "CI 19140", "Yellow 5"),
        ("Iron Oxides", None, "CI 77491/77492/77499", "Iron Oxides"),
        ("Iron Oxides", "1309-37-1", "CI 77491", "Iron Oxides"),
        ("Red Iron Oxide", None, "CI 77491", "Iron Oxides"),
        ("Beetroot Red", None, "Beetroot Red", "Beetroot Red"),
        ("CI 99999", None, "CI 99999", "CI 99999"),
    ],
)
def test_colours_are_named_by_jurisdiction(typed: str, cas: str | None, eu: str, us: str) -> None:
    assert colour_name(typed, cas, EU, name_book()).text == eu
    assert colour_name(typed, cas, US, name_book()).text == us


def test_a_colour_without_a_known_legal_name_is_warned_of() -> None:
    base = one("Aqua", "99")
    assert any(
        "Colour Index" in w for w in labelled(EU, base, one("Blush Pearl", "1", kind=PartKind.COLOURANT)).warnings
    )
    assert any("not listed" in w for w in labelled(US, base, one("CI 16255", "1", kind=PartKind.COLOURANT)).warnings)
    assert any("certificate" in w for w in labelled(US, base, one("CI 15850", "1", kind=PartKind.COLOURANT)).warnings)


def test_a_colour_index_number_is_a_colour_even_when_nobody_said_so() -> None:
    found = labelled(EU, one("CI 42090", "60"), one("Aqua", "40"))
    assert found.text == "Aqua, CI 42090"
    assert any("colour by its name" in warning for warning in found.warnings)


# --- may contain: 701.3(g); Art. 19(1)(g) on shades ---


@pytest.mark.parametrize(
    ("law", "text"), [(EU, "Talc, +/- CI 42090, CI 77019"), (US, "Talc, May contain: Blue 1, Mica")]
)
def test_shades_stand_in_a_block_of_their_own_even_at_nothing(law: Jurisdiction, text: str) -> None:
    shades = blend(
        "shades",
        "0",
        part("CI 42090", kind=PartKind.COLOURANT, may_contain=True),
        part("Mica", kind=PartKind.COLOURANT, may_contain=True),
    )
    assert labelled(law, one("Talc", "100"), shades).text == text


def test_a_shade_that_is_in_every_jar_is_listed_once() -> None:
    both = blend(
        "x",
        "5",
        part("Mica", "50", kind=PartKind.COLOURANT),
        part("CI 77019", "50", kind=PartKind.COLOURANT, may_contain=True),
    )
    found = labelled(EU, one("Talc", "95"), both)
    assert found.text == "Talc, CI 77019"
    assert any("every jar" in warning for warning in found.warnings)


@BOTH
def test_only_colours_may_stand_under_may_contain(law: Jurisdiction) -> None:
    found = labelled(law, one("Talc", "95"), one("Urea", "5", may_contain=True))
    assert found.text == "Talc, Urea"
    assert any("no colourant" in warning for warning in found.warnings)


# --- perfume and flavour: 701.3(a); Art. 19(1)(g) on parfum and aroma, Annex III ---


@pytest.mark.parametrize(("law", "word", "taste"), [(EU, "Parfum", "Aroma"), (US, "Fragrance", "Flavor")])
def test_perfume_is_one_word_placed_by_the_sum_of_its_parts(law: Jurisdiction, word: str, taste: str) -> None:
    found = labelled(
        law,
        one("Talc", "94"),
        blend(
            "oil 1",
            "1.5",
            part("Hexyl Acetate", "60", kind=PartKind.PERFUME),
            part("Amber Base", "40", kind=PartKind.PERFUME),
        ),
        one("Rose Base", "1.5", kind=PartKind.PERFUME),
        one("Urea", "2"),
        one("Mint Base", "1", kind=PartKind.FLAVOUR),
    )
    assert names(found) == ["Talc", word, "Urea", taste]
    assert found.entries[1].percent == 3


@pytest.mark.parametrize("typed", ["Parfum", "FRAGRANCE", "Parfum (Fragrance)"])
def test_a_part_called_perfume_is_perfume(typed: str) -> None:
    assert labelled(EU, one("Talc", "99"), one(typed, "1")).text == "Talc, Parfum"
    assert labelled(US, one("Talc", "99"), one(typed, "1")).text == "Talc, Fragrance"


def scented(percent: str, inside: str, inci: str = "Linalool") -> DosedMaterial:
    return blend("scent", percent, part("Parfum", kind=PartKind.PERFUME, allergens=(AllergenShare(inci, D(inside)),)))


def scented_twice() -> DosedMaterial:
    """Make a perfume whose allergens are more than all of it."""
    return blend("y", "1", part("Parfum", kind=PartKind.PERFUME, allergens=(AllergenShare("Linalool", D(60)),) * 2))


@pytest.mark.parametrize(
    ("exposure", "inside", "named"),
    [
        ("leave-on", "0.1", False),  # 0.001 % exactly is not more than 0.001 %
        ("leave-on", "0.1001", True),
        ("rinse-off", "1", False),
        ("rinse-off", "1.001", True),
    ],
)
def test_allergens_are_named_above_their_threshold_only(exposure: str, inside: str, named: bool) -> None:
    found = labelled(EU, one("Talc", "99"), scented("1", inside), exposure=exposure)
    assert ("Linalool" in names(found)) is named


def test_allergens_are_summed_over_all_sources_and_not_taken_off_the_perfume() -> None:
    found = labelled(EU, one("Talc", "98"), scented("1", "0.06"), scented("1", "0.06"))
    assert [(e.name, e.percent) for e in found.entries[1:]] == [("Parfum", 2), ("Linalool", D("0.0012"))]
    assert "Annex III/84" in found.entries[2].rule


def test_a_group_is_named_by_its_group_name_over_the_sum() -> None:
    citral = blend(
        "scent",
        "1",
        part(
            "Parfum",
            kind=PartKind.PERFUME,
            allergens=(AllergenShare("Neral", D("0.06")), AllergenShare("Geranial", D("0.06"))),
        ),
    )
    assert names(labelled(EU, one("Talc", "99"), citral)) == ["Talc", "Parfum", "Citral"]


def test_benzyl_alcohol_is_listed_once_whichever_its_role() -> None:
    found = labelled(EU, one("Talc", "98.2"), one("Benzyl Alcohol", "0.8"), scented("1", "3", "Benzyl Alcohol"))
    assert names(found) == ["Talc", "Parfum", "Benzyl Alcohol"]
    assert found.entries[2].percent == D("0.83")


def test_an_ingredient_keeps_its_own_amount_when_the_allergen_found_is_less() -> None:
    materials = [one("Talc", "99"), one("Linalool", "1")]
    found = declared_allergens(materials, "leave-on", EU)[0]
    told = replace(found, percent=D("0.01"))
    listed = declare(materials, Jurisdiction.EU, name_book(), (told,))
    assert [(e.name, e.percent) for e in listed.entries] == [("Talc", 99), ("Linalool", 1)]


def test_the_us_names_no_allergens_and_says_so() -> None:
    found = labelled(US, one("Talc", "99"), scented("1", "10"))
    assert found.text == "Talc, Fragrance"
    assert any("no list of fragrance allergens" in warning for warning in found.warnings)


def noticed(*parts: Part, jurisdiction: str = "EU") -> DeclarationNotices:
    made = [DosedMaterial(f"jar of {p.inci}", D(1), (p,)) for p in parts]
    return declaration_notices(made, "leave-on", jurisdiction)


def test_a_perfume_or_essential_oil_without_a_sheet_is_told_at_its_place_in_the_eu() -> None:
    """Annex III asks for the names of allergens above 0.001 %: without a sheet nobody can tell them."""
    oil, scent = Part("Lavandula Angustifolia Oil", D(100)), Part("Parfum", D(100), kind=PartKind.PERFUME)
    said = noticed(oil, scent, Part("Talc", D(100)))
    assert [line.partition(":")[0] for line in said.lines] == ["Lavandula Angustifolia Oil", "Parfum"]
    assert "Linalool (25 to 45 %)" in said.lines[0]
    made = [DosedMaterial(p.inci, D(50), (p,)) for p in (oil, scent)]
    listed = declare(made, Jurisdiction.EU, name_book(), (), notices=said.at_names)
    assert all("No allergen sheet" in entry.rule for entry in listed.entries)
    assert not noticed(oil, scent, jurisdiction="US").lines


def test_an_allergen_name_that_nobody_recognises_is_listed_and_one_named_twice_too() -> None:
    sheet = (AllergenShare("Coumarine", D(2)), AllergenShare("Linalool", D(1)), AllergenShare("linalool", D(1)))
    said = noticed(Part("Parfum", D(100), kind=PartKind.PERFUME, allergens=sheet)).lines
    assert any("Coumarine on its sheet is no name of the list" in line for line in said)
    assert any("Linalool stands twice" in line for line in said)
    assert not any("Linalool on its sheet" in line for line in said)


def test_a_name_that_no_table_knows_is_listed_with_the_nearest_known_one() -> None:
    (line,) = noticed(Part("Potasium Sorbate", D(100))).lines
    assert "POTASSIUM SORBATE" in line.upper()


# --- nano: Art. 19(1)(g) ---


def test_nano_is_marked_in_the_eu_and_apart_from_the_common_form() -> None:
    formula = [one("Talc", "90"), one("Zinc Oxide", "4"), one("Zinc Oxide", "6", nano=True)]
    assert labelled(EU, *formula).text == "Talc, Zinc Oxide (nano), Zinc Oxide"
    assert labelled(US, *formula).text == "Talc, Zinc Oxide"
    tinted = labelled(EU, one("Talc", "90"), one("Titanium Dioxide (nano)", "10", kind=PartKind.COLOURANT))
    assert tinted.text == "Talc, CI 77891 (nano)"


# --- incidental: 701.3(l); Art. 19(1) second sub-paragraph ---


def test_an_incidental_is_left_out_in_the_us_and_kept_in_the_eu() -> None:
    formula = [blend("oil", "100", part("Squalane", "99.9"), part("BHT", "0.1", kind=PartKind.INCIDENTAL))]
    american, european = labelled(US, *formula), labelled(EU, *formula)
    assert american.text == "Squalane"
    assert any("BHT" in warning and "701.3(l)" in warning for warning in american.warnings)
    assert european.text == "Squalane, BHT"
    assert any("BHT" in warning and "carry-over" in warning for warning in european.warnings)


def test_an_incidental_that_is_also_put_in_counts_with_it() -> None:
    oil = blend("oil", "90", part("Squalane", "99"), part("BHT", "1", kind=PartKind.INCIDENTAL))
    found = labelled(US, oil, one("BHT", "10"))
    assert [(e.name, e.percent) for e in found.entries] == [("Squalane", D("89.1")), ("BHT", D("10.9"))]
    assert not any("left out" in warning for warning in found.warnings)


# --- names: 701.3(c); Art. 19(6) ---


@pytest.mark.parametrize(
    ("typed", "eu", "us"),
    [
        ("Water", "Aqua", "Water"),
        ("Aqua/Water/Eau", "Aqua", "Water"),
        ("Beeswax", "Cera Alba", "Beeswax"),
        ("Mineral Oil", "Paraffinum Liquidum", "Mineral Oil"),
        ("Olea Europaea (Olive) Fruit Oil", "Olea Europaea Fruit Oil", "Olea Europaea (Olive) Fruit Oil"),
        ("Simmondsia Chinensis Seed Oil", "Simmondsia Chinensis Seed Oil", "Simmondsia Chinensis (Jojoba) Seed Oil"),
        ("PRUNUS AMYGDALUS DULCIS OIL", "PRUNUS AMYGDALUS DULCIS OIL", "PRUNUS AMYGDALUS DULCIS (SWEET ALMOND) OIL"),
        ("Rosa Xyz (Garden Rose) Flower Extract", "Rosa Xyz Flower Extract", "Rosa Xyz (Garden Rose) Flower Extract"),
        ("Copernicia Cerifera Cera", "Copernicia Cerifera Cera", "Copernicia Cerifera (Carnauba) Wax"),
        ("Citrus Aurantium Dulcis Oil", "Citrus Aurantium Dulcis Oil", "Citrus Aurantium Dulcis (Orange) Oil"),
        ("Glycerin", "Glycerin", "Glycerin"),
        ("1,2-Hexanediol", "1,2-Hexanediol", "1,2-Hexanediol"),
        ("PEG-40 Hydrogenated Castor Oil", "PEG-40 Hydrogenated Castor Oil", "PEG-40 Hydrogenated Castor Oil"),
        ("  Sodium \n Benzoate\x07 ", "Sodium Benzoate", "Sodium Benzoate"),
    ],
)  # fmt: skip
def test_water_and_plants_are_named_by_jurisdiction(typed: str, eu: str, us: str) -> None:
    assert ingredient_name(typed, EU, name_book()).text == eu
    assert ingredient_name(typed, US, name_book()).text == us


@BOTH
def test_a_plant_is_one_entry_under_all_its_spellings(law: Jurisdiction) -> None:
    found = labelled(law, one("Olea Europaea (Olive) Fruit Oil", "50"), one("OLEA EUROPAEA FRUIT OIL", "50"))
    assert len(found.entries) == 1


def test_a_bilingual_label_writes_both_names() -> None:
    formula = [one("Aqua", "97"), one("Parfum", "1"), one("CI 77891", "2", kind=PartKind.COLOURANT)]
    assert (
        labelled(US, *formula, bilingual=True).text == "Water (Aqua), Fragrance (Parfum), Titanium Dioxide (CI 77891)"
    )
    assert (
        labelled(EU, *formula, bilingual=True).text == "Aqua (Water), Parfum (Fragrance), CI 77891 (Titanium Dioxide)"
    )


def test_without_tables_names_stay_as_written() -> None:
    assert declare([one("Aqua", "100")], US, NameBook()).text == "Aqua"


# --- sums and nonsense ---


@pytest.mark.parametrize(
    ("materials", "field"),
    [
        ([blend("x", "100")], "materials[0].composition"),
        ([one("Aqua", "50"), blend("x", "50", part("A", "60"), part("B", "60"))], "materials[1].composition"),
        ([one(" ", "100")], "materials[0].composition[0].inci"),
        ([scented_twice()], "materials[0].composition[0].allergens"),
        ([one("Aqua", "0")], "materials"),
        ([], "materials"),
    ],
)  # fmt: skip
def test_what_cannot_be_declared_is_told_at_its_place(materials: list[DosedMaterial], field: str) -> None:
    with pytest.raises(Invalid) as error:
        declare(materials, EU, name_book())
    assert error.value.field == field


@BOTH
def test_sums_that_are_not_whole_are_warned_of(law: Jurisdiction) -> None:
    assert any("0.5 is missing" in w for w in labelled(law, one("Aqua", "99.5")).warnings)
    assert any("The parts of x" in w for w in labelled(law, blend("x", "100", part("Aqua", "98"))).warnings)
    assert labelled(law, one("Aqua", "100")).warnings == ()
    # Shades that may be in it stand beside a whole of 100: 90 and a blend of 10, of which one part is a shade too.
    blend_of = blend("b", "10", part("Talc"), part("CI 77491", kind=PartKind.COLOURANT, may_contain=True))
    shade = one("CI 77492", "3", kind=PartKind.COLOURANT, may_contain=True)
    assert not any("places in the list" in w for w in labelled(law, one("Aqua", "90"), blend_of, shade).warnings)
    assert any("places in the list" in w for w in labelled(law, one("Aqua", "89"), blend_of, shade).warnings)


INCI = (
    "Aqua",
    "Glycerin",
    "Urea",
    "Panthenol",
    "Cetearyl Alcohol",
    "Olea Europaea Fruit Oil",
    "CI 77891",
    "Parfum",
    "BHT",
)
KINDS = {"CI 77891": PartKind.COLOURANT, "Parfum": PartKind.PERFUME}
doses = st.dictionaries(st.sampled_from(INCI), st.integers(1, 3000), min_size=1)


@given(doses, st.sampled_from([EU, US]), st.data())
@settings(max_examples=100)
def test_the_list_does_not_depend_on_how_blends_are_split(
    dose: dict[str, int], law: Jurisdiction, data: st.DataObject
) -> None:
    whole = [one(inci, str(D(n) / 100), kind=KINDS.get(inci, PartKind.INGREDIENT)) for inci, n in dose.items()]
    pieces: list[DosedMaterial] = []
    for inci, n in dose.items():
        cut = data.draw(st.integers(0, n))
        for size in (cut, n - cut):
            # a blend of twice the weight, half of it this substance and the other half nothing that is declared
            halves = (part(inci, "50", kind=KINDS.get(inci, PartKind.INGREDIENT)), part("Nothing", "0"))
            pieces.append(blend(f"{inci} {size}", str(D(2 * size) / 100), *halves))
    shuffled = data.draw(st.permutations(pieces))
    one_way, other_way = declare(whole, law, name_book()), declare(shuffled, law, name_book())
    assert one_way.text == other_way.text
    assert [(e.percent, e.group) for e in one_way.entries] == [(e.percent, e.group) for e in other_way.entries]


@given(doses, st.sampled_from([EU, US]))
@settings(max_examples=100)
def test_groups_follow_each_other_and_the_text_is_the_entries(dose: dict[str, int], law: Jurisdiction) -> None:
    found = declare(
        [one(i, str(D(n) / 100), kind=KINDS.get(i, PartKind.INGREDIENT)) for i, n in dose.items()], law, name_book()
    )
    order = [list(Group).index(entry.group) for entry in found.entries]
    assert order == sorted(order)
    for group in Group:
        amounts = [entry.percent for entry in found.entries if entry.group is group]
        assert amounts == sorted(amounts, reverse=True)
    assert found.text.split(", ") == names(found)
    assert all(entry.rule for entry in found.entries)
