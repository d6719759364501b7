"""Words on a pack: what it says it is free of, and what that means of the names printed."""

import pytest

from app.reference.inference_free_of import free_of, said_free_of, things_to_be_free_of
from app.reference.inference_measures import Observable, Reading
from app.reference.inference_prior import class_of, listed_name
from app.reference.label_inference import infer_label
from app.reference.label_names import LabelNames
from app.science.label_list.reading import read_list


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Alcohol-free", ("alcohol",)),
        ("Free of parabens, sulphates and silicones. 5 % niacinamide", ("parabens", "sulfates", "silicones")),
        ("without mineral oil", ("mineral oil",)),
        ("oil free, fragrance free", ("fragrance", "oil")),
        ("0% aluminium salts", ("aluminium",)),
        ("Free from essential oils", ("essential oils",)),
        ("Free shipping, cruelty-free, with 3 % lactic acid", ()),
        ("A rich cream with shea butter", ()),
    ],
)
def test_claims_are_read(text: str, words: tuple[str, ...]) -> None:
    assert said_free_of(text) == words


@pytest.mark.parametrize(
    ("word", "meant", "not_meant"),
    [
        ("alcohol", "ALCOHOL DENAT.", "CETEARYL ALCOHOL"),
        ("alcohol", "ALCOHOL", "BENZYL ALCOHOL"),
        ("sulfates", "SODIUM LAURETH SULFATE", "MAGNESIUM SULFATE"),
        ("silicones", "DIMETHICONE", "SILICA"),
        ("oil", "OLEA EUROPAEA FRUIT OIL", "PEG-40 HYDROGENATED CASTOR OIL"),
        ("parabens", "METHYLPARABEN", "PHENOXYETHANOL"),
        ("mineral oil", "PARAFFINUM LIQUIDUM", "SQUALANE"),
        ("PEG", "PEG-100 STEARATE", "GLYCERYL STEARATE"),
    ],
)
def test_what_counts_is_what_the_trade_means(word: str, meant: str, not_meant: str) -> None:
    assert free_of(word).counts(listed_name(meant, meant, class_of(meant)))
    assert not free_of(word).counts(listed_name(not_meant, not_meant, class_of(not_meant)))


def test_every_row_can_be_said() -> None:
    for one in things_to_be_free_of():
        assert one.word in said_free_of(f"free of {one.word}")


def test_what_a_pack_is_free_of_is_taken_as_carried_in() -> None:
    names = read_list("Aqua, Glycerin, Xanthan Gum, Phenoxyethanol, Parfum, Citric Acid", LabelNames()).names
    claim = (Reading(Observable.FREE_OF, word="fragrance"),)
    before, after = (infer_label(names, {}, "gel", readings=readings) for readings in ((), claim))
    assert after.inference.rows[4].estimate < 0.6 * before.inference.rows[4].estimate
    assert after.inference.rows[4].high == before.inference.rows[4].high
    assert any("free of fragrance, yet Parfum" in note for note in after.notes)


def test_what_else_could_be_found_out_is_offered_with_what_it_would_narrow() -> None:
    names = read_list(
        "Aqua, Alcohol, Glycerin, Carbomer, Sodium Chloride, Phenoxyethanol, Parfum, Sodium Hydroxide", LabelNames()
    ).names
    offered = {n.measure: n.share for n in infer_label(names, {}, "gel", narrowing_at={}).narrowing}
    assert {
        Observable.DRYING,
        Observable.DENSITY,
        Observable.PH,
        Observable.SMELLS,
        Observable.LINE,
        Observable.SCATTERED,
    } <= set(offered)
    assert all(0 < share < 1 for share in offered.values())
    made = (Reading(Observable.NO_SMELL), Reading(Observable.DRYING, 80.0))
    left = {n.measure for n in infer_label(names, {}, "gel", readings=made, narrowing_at={}).narrowing}
    assert not left & {Observable.SMELLS, Observable.NO_SMELL, Observable.DRYING}
