"""Search finds what people mean: words in any order, begun, misspelt, accented, by CAS number or function."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.materials import library_materials
from app.reference.search import Index, SearchEntry, build_index, fold, search, slips_allowed, words_of


@pytest.fixture(scope="module")
def library() -> Index[str]:
    return build_index(
        SearchEntry(m.key, m.name, m.inci_names, m.cas_numbers, m.functions) for m in library_materials()
    )


def keys(index: Index[str], text: str, limit: int = 20) -> list[str]:
    return [hit.entry.id for hit in search(index, text, limit)]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Glycerin", "glycerin"),
        ("purified water", "aqua"),
        ("aqua", "aqua"),
        ("shea", "butyrospermum-parkii-butter"),
        ("butter shea", "butyrospermum-parkii-butter"),
        ("cocoa but", "theobroma-cacao-seed-butter"),
        ("xanthan gum", "xanthan-gum"),
        ("xantan", "xanthan-gum"),
        ("glycrin", "glycerin"),
        ("phenoxyethanl", "phenoxyethanol"),
        ("phenoxye", "phenoxyethanol"),
        ("phenxyet", "phenoxyethanol"),
        ("niacinimide", "niacinamide"),
        ("pantenol", "panthenol"),
        ("sodum hydroxyde", "sodium-hydroxide"),
        ("56-81-5", "glycerin"),
        ("7732-18", "aqua"),
        ("coco glucoside", "coco-glucoside"),
        ("cocoglucoside", "coco-glucoside"),
        ("coco-glucoside", "coco-glucoside"),
        ("olive oil", "olea-europaea-fruit-oil"),
        ("OLEA europaea", "olea-europaea-fruit-oil"),
        ("citric", "citric-acid"),
        ("tea tree", "melaleuca-alternifolia-leaf-oil"),
        ("lavandr oil", "lavandula-angustifolia-oil"),
        ("caprylic capric", "caprylic-capric-triglyceride"),
        ("c12-15 alkyl", "c12-15-alkyl-benzoate"),
        ("CI 77891", "ci-77891"),
        ("beeswax", "cera-alba"),
        ("besswax", "cera-alba"),
        ("laoe", "aloe-barbadensis-leaf-juice"),
    ],
)
def test_the_first_answer_is_what_was_meant(library: Index[str], text: str, key: str) -> None:
    assert keys(library, text)[0] == key


def test_a_function_finds_what_does_it(library: Index[str]) -> None:
    found = set(keys(library, "chelating", 100))
    assert {"disodium-edta", "sodium-phytate", "citric-acid"} <= found
    assert "xanthan-gum" not in found


def test_a_part_of_a_blend_finds_the_blend(library: Index[str]) -> None:
    assert "phenoxyethanol-ethylhexylglycerin" in keys(library, "ethylhexylglycerin")


def test_a_name_goes_before_a_function(library: Index[str]) -> None:
    assert keys(library, "solvent", 500)
    both = build_index([SearchEntry("f", "Aqua", functions=("solvent",)), SearchEntry("n", "Solvent blend")])
    assert keys(both, "solvent") == ["n", "f"]


def test_an_exact_answer_does_not_drag_in_its_likes(library: Index[str]) -> None:
    assert all("stearyl" in hit.entry.name.lower() for hit in search(library, "stearyl alcohol"))
    assert all(hit.sure for hit in search(library, "stearyl alcohol"))
    assert not any(hit.sure for hit in search(library, "stearil alcohol"))


@pytest.mark.parametrize("text", ["", "   ", "%%%", "\x00", "zzzzqqqq", "9999999-99-9"])
def test_nothing_is_found_where_there_is_nothing(library: Index[str], text: str) -> None:
    assert keys(library, text) == []


def test_a_word_too_many_still_finds_the_rest(library: Index[str]) -> None:
    assert keys(library, "glycerin qqqqq")[0] == "glycerin"


def test_accents_and_case_are_folded() -> None:
    index = build_index([SearchEntry(1, "Crème à l'œillet"), SearchEntry(2, "Lösung")])
    assert [h.entry.id for h in search(index, "creme oeillet")] == [1]
    assert [h.entry.id for h in search(index, "LOSUNG")] == [2]


def test_an_empty_index_and_a_limit_of_none() -> None:
    empty: Index[str] = build_index([])
    assert search(empty, "water") == []
    assert search(build_index([SearchEntry(1, "water")]), "water", 0) == []


def test_a_hostile_long_text_is_answered(library: Index[str]) -> None:
    assert isinstance(keys(library, "acid " * 5000), list)
    assert keys(library, "a" * 5000) == []


@pytest.mark.parametrize(("word", "slips"), [("aha", 0), ("zinc", 1), ("glycerin", 2), ("56-81-5", 0), ("c12", 0)])
def test_longer_words_may_hold_more_slips(word: str, slips: int) -> None:
    assert slips_allowed(word) == slips


@given(st.text(max_size=40))
@settings(max_examples=100, deadline=None)
def test_folding_twice_changes_nothing_and_words_hold_no_spaces(text: str) -> None:
    assert fold(fold(text)) == fold(text)
    assert all(word and not any(sign.isspace() for sign in word) for word in words_of(text))


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_name_is_found_by_its_words_shuffled_and_begun(library: Index[str], data: st.DataObject) -> None:
    entry = data.draw(st.sampled_from(library.entries))
    words = data.draw(st.permutations(words_of(entry.name)))
    cut = data.draw(st.integers(1, len(words[-1])))
    typed = " ".join([*words[:-1], words[-1][:cut]])
    assert entry.id in keys(library, typed, 500)
