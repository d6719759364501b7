"""A name on a label or in a pasted row leads to what it means, with how sure that is."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.reference.library import substances
from app.reference.matching import Certainty, Match, match_name
from app.reference.synonyms import COLUMNS, synonyms
from app.reference.tables import read_table
from app.science.names import inci_key

EXACT, SYNONYM, SPELLING, SIMILAR = Certainty.EXACT, Certainty.SYNONYM, Certainty.SPELLING, Certainty.SIMILAR


def first(text: str) -> Match:
    return match_name(text)[0]


@pytest.mark.parametrize(
    ("text", "inci", "certainty"),
    [
        ("Glycerin", "Glycerin", EXACT),
        ("SODIUM  benzoate", "Sodium Benzoate", EXACT),
        ("Caprylic / Capric Triglyceride", "Caprylic/Capric Triglyceride", EXACT),
        ("Acetyl Hexapeptide-8", "ACETYL HEXAPEPTIDE-8", EXACT),
        ("shea butter", "Butyrospermum Parkii Butter", EXACT),
        ("Water", "Aqua", SYNONYM),
        ("Fragrance", "Parfum", EXACT),
        ("Perfume", "Parfum", SYNONYM),
        ("Alcohol Denat.", "Alcohol Denat.", EXACT),
        ("Aqua (Water)", "Aqua", SYNONYM),
        ("Water (Aqua/Eau)", "Aqua", SYNONYM),
        ("Aqua/Water/Eau", "Aqua", SYNONYM),
        ("Parfum (Fragrance)", "Parfum", SYNONYM),
        ("Butyrospermum Parkii (Shea) Butter*", "Butyrospermum Parkii Butter", SYNONYM),
        ("Prunus Amygdalus Dulcis (Sweet Almond) Oil", "Prunus Amygdalus Dulcis Oil", SYNONYM),
        ("CI 77891 (Titanium Dioxide)", "CI 77891", SYNONYM),
        ("Tocopherol (Vitamin E).", "Tocopherol", SYNONYM),
        ("Glycerine", "Glycerin", SYNONYM),
        ("56-81-5", "Glycerin", SYNONYM),
        ("lye", "Sodium Hydroxide", SYNONYM),
        ("glycrin", "Glycerin", SPELLING),
        ("Phenoxyetanol", "Phenoxyethanol", SPELLING),
        ("Hydrogenated Vegtable Oil", "HYDROGENATED VEGETABLE OIL", SPELLING),
        ("Glycerin 3,5 %", "Glycerin", SIMILAR),
        ("Best butter (Mangifera Indica Seed Butter)", "Mangifera Indica Seed Butter", SIMILAR),
    ],
)
def test_a_written_name_leads_to_its_substance(text: str, inci: str, certainty: Certainty) -> None:
    found = first(text)
    assert (found.inci, found.certainty) == ((inci,), certainty)


def test_the_library_goes_before_the_inventory_and_gives_a_material() -> None:
    assert first("niacinamide").material_key == "niacinamide"
    assert first("niacinamide").in_library
    assert not first("Acetyl Hexapeptide-8").in_library


def test_a_blend_is_found_by_its_name_with_all_its_parts() -> None:
    found = first("phenoxyethanol + ethylhexylglycerin")
    assert found.inci == ("Phenoxyethanol", "Ethylhexylglycerin")
    assert found.material_key == "phenoxyethanol-ethylhexylglycerin"


def test_a_name_that_several_share_offers_all_of_them() -> None:
    assert {m.inci[0] for m in match_name("Iron Oxides")} == {"CI 77491", "CI 77492", "CI 77499"}
    assert {m.inci[0] for m in match_name("9005-25-8")} >= {"Zea Mays Starch", "Tapioca Starch"}


def test_a_strength_beside_a_name_is_never_taken_for_the_pure_substance_unasked() -> None:
    found = match_name("Sodium Hydroxide 10 %")
    assert found[0].material_key == "sodium-hydroxide-10-solution"
    assert all(match.certainty is SIMILAR for match in found)


def test_a_slash_between_strangers_is_not_read_as_two_names_for_one() -> None:
    assert first("Sodium Stearate/Foo").certainty is SIMILAR
    assert first("Glycerin/Aqua").certainty is not SYNONYM


@pytest.mark.parametrize("text", ["", "  ", "*", "zzzzqqqq", "%%%"])
def test_nothing_is_made_of_nothing(text: str) -> None:
    assert match_name(text) == []


def test_spelling_offers_the_nearest_first_and_no_more_than_asked() -> None:
    found = match_name("Polysorbat 20", limit=2)
    assert found[0].name == "Polysorbate 20"
    assert len(found) == 2


@given(st.text(max_size=60))
@example("(" * 60)
@example("9" * 60 + "%")
@example("/" * 60)
@settings(max_examples=60, deadline=None)
def test_any_text_is_answered_with_scores_between_0_and_1(text: str) -> None:
    assert all(0 <= match.score <= 1 and match.inci for match in match_name(text))


@pytest.mark.parametrize("key", sorted(substances())[::7])
def test_every_substance_is_found_by_its_own_name_in_any_case(key: str) -> None:
    found = first(substances()[key].inci.lower())
    assert found.certainty is EXACT
    assert key in map(inci_key, found.inci)


def test_other_names_lead_to_known_substances_and_hide_none() -> None:
    assert len(read_table("synonyms", COLUMNS)) == 177
    assert {inci_key(inci) for meant in synonyms().values() for inci in meant} <= set(substances())
    assert not set(synonyms()) & set(substances())
    assert {row["source_status"] for row in read_table("synonyms", COLUMNS)} == {"common practice", "from memory"}
