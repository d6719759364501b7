"""The search by pairs of letters finds what comparing with every name finds."""

from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from app.reference.inci_names import inci_names
from app.reference.label_names import nearest_name
from app.reference.library import substances
from app.reference.near_names import NearNames
from app.reference.rulebook import nearest_name as nearest_known_name

# Slips as they are made: a letter twice or once, two swapped, one beside it on the keys, what the ear confuses, British
# or German spelling. Right names after the CosIng inventory and Annex II of Regulation (EC) No 1223/2009.
MISSPELT = {
    "Potasium Sorbate": "Potassium Sorbate",
    "Phenoxyethanal": "Phenoxyethanol",
    "Glycerine USP": "Glycerin",
    "Cetearyl Alcohl": "Cetearyl Alcohol",
    "Niacinimide": "Niacinamide",
    "Sodium Hyalurnoate": "Sodium Hyaluronate",
    "Xantham Gum": "Xanthan Gum",
    "Tocopherl Acetate": "Tocopheryl Acetate",
    "Caprylic/Capric Triglyzeride": "Caprylic/Capric Triglyceride",
    "Cocamidopropyl Betain": "Cocamidopropyl Betaine",
    "Butyrospermum Parki Butter": "Butyrospermum Parkii Butter",
    "Simmondsia Chinenis Seed Oil": "Simmondsia Chinensis Seed Oil",
    "Ethylhexylglycerine": "Ethylhexylglycerin",
    "Dimethcone": "Dimethicone",
    "Polysorbat 20": "Polysorbate 20",
    "Sodium Benzotae": "Sodium Benzoate",
    "Formaldehydde": "Formaldehyde",
    "Quibblezoate": "",
    "Zzyzx": "",
}
MISSPELT_BARRED = {"Hydroquinnone": "Hydroquinone", "Chlorofrom": "Chloroform", "Diethylenglycol": "Diethylene Glycol"}
LIKENESS, NEARNESS = 80.0, 0.85


@pytest.mark.parametrize(("typed", "meant"), MISSPELT.items())
def test_the_nearest_name_of_a_misspelling(typed: str, meant: str) -> None:
    assert nearest_name(typed).casefold() == meant.casefold()


@pytest.mark.parametrize(("typed", "meant"), MISSPELT_BARRED.items())
def test_a_slip_in_a_name_that_the_law_bars(typed: str, meant: str) -> None:
    assert nearest_known_name(typed).casefold() == meant.casefold()


@pytest.mark.parametrize("typed", [name.upper() for name in MISSPELT])
def test_among_all_names_the_one_most_alike_is_among_those_that_share_pairs(typed: str) -> None:
    names = tuple(dict.fromkeys([*substances(), *inci_names()]))
    near = _all_names().sharing(typed, 0.2, 1.5)
    found = process.extractOne(typed, near, scorer=fuzz.ratio, score_cutoff=LIKENESS)
    full = process.extractOne(typed, names, scorer=fuzz.ratio, score_cutoff=LIKENESS)
    assert len(near) < len(names) / 20
    assert (found and found[:2]) == (full and full[:2])


@cache
def _all_names() -> NearNames:
    return NearNames(dict.fromkeys([*substances(), *inci_names()]))


words = st.text("ABCD É", max_size=14)


@given(st.lists(words, min_size=1, max_size=30), words)
def test_nothing_that_is_alike_is_left_out(names: list[str], typed: str) -> None:
    held = NearNames(names)
    alike = [name for name in names if typed and name and fuzz.ratio(typed, name) >= LIKENESS]
    near = [n for n in names if typed and n and OSA.normalized_similarity(typed, n) >= NEARNESS]
    by_pairs, by_fewer = held.sharing(typed, 0.2, 1.5), held.sharing(typed, 0.275, 1 / NEARNESS)
    assert [name for name in by_pairs if name in alike] == alike
    assert [name for name in by_fewer if name in near] == near


def test_a_text_of_no_letter_or_one_has_no_pairs() -> None:
    held = NearNames(["A", "AB", "BANANA"])
    assert held.sharing("", 0.2, 1.5) == []
    assert held.sharing("A", 0.2, 1.5) == ["A"]
    assert held.sharing("ANANAS", 0.2, 1.5) == ["BANANA"]
