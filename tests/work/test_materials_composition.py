from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.work.materials.composition import (
    cas_remark,
    fitted,
    sum_of,
    with_pasted,
    with_water,
)
from app.work.materials.inci_choices import cas_of, names_like
from app.work.materials.material_form import MaterialForm, PartForm, nearest_allergen, read_allergens

D = Decimal


def rows(*texts: str) -> tuple[PartForm, ...]:
    return tuple(PartForm(f"Name {n}", text) for n, text in enumerate(texts))


def shown(form: MaterialForm) -> list[tuple[str, str]]:
    return [(row.text["inci"], row.text["percent"]) for row in form.text["parts"]]


SUMS = [
    (("60", "40"), "Adds up to 100 %."),
    (("30-50", "55"), "Adds up to 95 %; 5 % is missing."),
    (("60", "41.5"), "Adds up to 101.5 %; 1.5 % too much."),
    (("60", "x"), "Adds up to 60 %, without 1 row that cannot be read yet; 40 % is missing."),
    (("x", "", "y"), "Adds up to 0 %, without 3 rows that cannot be read yet; 100 % is missing."),
]


@pytest.mark.parametrize(("percents", "words"), SUMS)
def test_the_sum_is_said_in_words(percents: tuple[str, ...], words: str) -> None:
    assert sum_of(MaterialForm(parts=rows(*percents))).sentence == words


def test_an_untouched_form_is_not_told_that_it_lacks_everything() -> None:
    assert sum_of(MaterialForm(parts=(PartForm(), PartForm()))).sentence == "Nothing entered yet."


def test_what_each_row_counts_is_told_row_by_row() -> None:
    assert sum_of(MaterialForm(parts=(*rows("30-50 (42)", "x"), PartForm(), PartForm("Aqua", "< 5")))).counted == (
        D(42),
        None,
        None,
        D("2.5"),
    )


def test_water_is_the_rest_in_a_row_of_its_own_or_in_the_row_it_has() -> None:
    fresh = with_water(MaterialForm(parts=(*rows("60.5"), PartForm())))
    assert shown(fresh) == [("Name 0", "60.5"), ("Aqua", "39.5")]
    there = with_water(MaterialForm(parts=(PartForm("AQUA", "10"), *rows("60"))))
    assert shown(there) == [("AQUA", "40"), ("Name 0", "60")]
    full = MaterialForm(parts=rows("100", "1"))
    assert with_water(full) == full


def test_ranges_are_fitted_to_100_and_keep_their_width() -> None:
    typed = fitted(MaterialForm(parts=rows("50-70", "20-30", "10")))
    assert [percent for _, percent in shown(typed)] == ["50-70 (63.34)", "20-30 (26.66)", "10"]
    assert sum_of(typed).missing == 0
    hopeless = MaterialForm(parts=rows("10-20", "20"))
    assert fitted(hopeless) == hopeless


PASTED = [
    ("Aqua\t70,5\nGlycerin\t5\n", [("Aqua", "70,5", ""), ("Glycerin", "5", "")]),
    ("Glycerin\t56-81-5\t60-80 %", [("Glycerin", "60-80 %", "56-81-5")]),
    ("Cetearyl Alcohol 30 - 50 %", [("Cetearyl Alcohol", "30 - 50 %", "")]),
    ("PEG-40 Hydrogenated Castor Oil: < 5", [("PEG-40 Hydrogenated Castor Oil", "< 5", "")]),
    ("Aqua;20;7732-18-5", [("Aqua", "20", "7732-18-5")]),
    ("only a name\n\n", [("only a name", "", "")]),
]


@pytest.mark.parametrize(("text", "expected"), PASTED, ids=range(len(PASTED)))
def test_pasted_lines_become_rows(text: str, expected: list[tuple[str, str, str]]) -> None:
    found = with_pasted(MaterialForm(parts=(PartForm(),)), text).text["parts"]
    assert [(p.text["inci"], p.text["percent"], p.text["cas"]) for p in found] == expected


@settings(max_examples=60)
@given(st.text(max_size=200))
def test_anything_can_be_pasted_and_summed(text: str) -> None:
    typed = with_pasted(MaterialForm(), text)
    typed.faults()
    assert sum_of(typed).total >= 0


def test_an_allergen_sheet_is_read_line_by_line() -> None:
    shares = read_allergens("Limonene 4.2\n\nLinalool:1,1%\nAlpha-Isomethyl Ionone\t0.05\n", "f")
    assert [(s.inci, s.percent) for s in shares] == [
        ("Limonene", D("4.2")), ("Linalool", D("1.1")), ("Alpha-Isomethyl Ionone", D("0.05")),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Limonene 4\nLinalool", "Line 2: enter the name and the percent"),
        ("Limonene 101", "Line 1: The number is 101"),
        ("Limonene 60\nLinalool 50", "add up to 110 %"),
        ("Limonene 1\nLinallol 2\nGeraniol 1", "Line 2: Linallol is not an allergen .* did you mean Linalool"),
        ("Moon dust 1", "Line 1: Moon dust is not an allergen of the EU list, so it would not be declared; put"),
        ("Limonene 1\nLinalool 1\n\nlimonene 2", "Line 4: limonene is in line 1 already"),
        ("a 1\n" * 151, "can have 150 lines; this one has 151"),
        ("x" * 60_000, "Line 1"),
    ],
)
def test_an_allergen_sheet_that_cannot_be_read_names_the_line(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        read_allergens(text, "f")


def test_a_name_no_law_lists_is_kept_in_quotation_marks_and_comes_back_in_them() -> None:
    row = PartForm("Parfum", "2", kind="perfume", allergens='Limonene 1\n"Moon dust" 0.5')
    read = row.checked()
    assert [(a.inci, a.percent) for a in read.allergens] == [("Limonene", D(1)), ("Moon dust", D("0.5"))]
    assert read.as_read().text["allergens"] == 'Limonene 1\n"Moon dust" 0.5'


# Label names of Annex III to Regulation (EC) 1223/2009 as amended by (EU) 2023/1545, with slips a hand makes.
SLIPS = [
    ("Linallol", "LINALOOL"), ("Limonen", "LIMONENE"), ("Citronelol", "CITRONELLOL"), ("Cumarin", "COUMARIN"),
    ("Eugenoll", "EUGENOL"), ("Gerianol", "GERANIOL"), ("Hexyl Cinamal", "HEXYL CINNAMAL"), ("Moon dust", ""),
    ("xyz", ""),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "meant"), SLIPS)
def test_the_nearest_listed_allergen_is_offered(typed: str, meant: str) -> None:
    assert nearest_allergen(typed).upper() == meant


@pytest.mark.parametrize(
    ("cas", "sign"), [("56-81-5", ""), ("", ""), ("56-81-6", "check digit"), ("abc", "form of a CAS")]
)
def test_a_cas_number_is_checked_by_its_last_digit(cas: str, sign: str) -> None:
    assert sign in cas_remark(cas)
    assert bool(cas_remark(cas)) == bool(sign)


def test_names_that_begin_with_what_was_typed_come_first() -> None:
    found = names_like("glycer")
    assert found[0].upper().startswith("GLYCER")
    assert "Glycerin" in found
    assert len(found) == 12
    assert names_like("g") == []
    assert cas_of("glycerin") == "56-81-5"
    assert cas_of("no such name") == ""
