"""What to start from: the checks of a formula hold, and products come out as what they are."""

from datetime import date

import pytest

from app.reference.corpus import held_out_lists, known_lists
from app.reference.inference_prior import class_priors
from app.reference.label_inference import infer_label
from app.reference.label_names import LabelNames
from app.reference.label_start import LabelStart, start_from_label
from app.reference.label_start_faults import start_faults
from app.reference.preservatives import preservatives
from app.reference.thickeners import thickener_of
from app.science.acid_base.gel import GelState
from app.science.inference.fit import KnownList
from app.science.inference.infer import infer
from app.science.inference.values import Known
from app.science.label_list.reading import read_list
from app.science.names import inci_key
from app.science.preservation import Preserved

CREAM = (
    "Aqua, Glycerin, Cetearyl Alcohol, Caprylic/Capric Triglyceride, Glyceryl Stearate, Butyrospermum Parkii Butter, "
    "PEG-100 Stearate, Dimethicone, Phenoxyethanol, Carbomer, Ethylhexylglycerin, Disodium EDTA, Sodium Hydroxide"
)
DAY = date(2026, 11, 26)
CLAY = "Aqua, Kaolin, Glycerin, Bentonite, Benzyl Alcohol, Xanthan Gum, Dehydroacetic Acid, Citric Acid"
SUN = (
    "Aqua, Zinc Oxide, Caprylic/Capric Triglyceride, C12-15 Alkyl Benzoate, Polyglyceryl-3 Diisostearate, Glycerin, "
    "Magnesium Sulfate, Phenoxyethanol, Tocopherol"
)


def start(text: str, kind: str, law: str = "EU") -> tuple[dict[str, float], LabelStart]:
    names = read_list(text, LabelNames()).names
    found = infer_label(names, {}, kind, law)
    begun = start_from_label(found.names, found.inference, [True] * len(names), kind, law, DAY)
    assert begun is not None
    return {name.key: p for name, p in zip(names, begun.percents, strict=True)}, begun


def test_a_cream_is_preserved_thickened_and_at_its_ph() -> None:
    percents, begun = start(CREAM, "o/w cream")
    assert percents["PHENOXYETHANOL"] >= preservatives()["PHENOXYETHANOL"].preservative.use_low
    assert begun.ph.target is not None
    assert begun.ph.reached == pytest.approx(begun.ph.target, abs=0.1)
    carbomer = thickener_of("Carbomer")
    assert carbomer is not None
    assert carbomer.window.at(begun.ph.reached or 0) is GelState.FULL
    assert begun.start.unmet == ()


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        (
            "Aqua, Ascorbic Acid, Propylene Glycol, Glycerin, Phenoxyethanol, Ethylhexylglycerin, Sodium Hydroxide",
            2.5, 3.5,
        ),
        ("Aqua, Niacinamide, Glycerin, Xanthan Gum, Phenoxyethanol, Ethylhexylglycerin, Citric Acid", 5.0, 7.0),
    ],
    ids=["vitamin C", "niacinamide"],
)  # fmt: skip
def test_the_target_lies_where_the_actives_keep(text: str, low: float, high: float) -> None:
    """Ascorbic acid at pH 2.5 to 3.5 (common practice), niacinamide at 5 to 7 (it hydrolyses outside)."""
    _, begun = start(text, "serum")
    assert low < (begun.ph.target or 0) < high
    assert begun.ph.reached == pytest.approx(begun.ph.target, abs=0.1)


def test_a_blend_bought_as_one_keeps_its_ratio() -> None:
    """Phenoxyethanol and ethylhexylglycerin 90:10, as the blend is sold (table of blends)."""
    percents, begun = start(CREAM, "o/w cream")
    assert "phenoxyethanol + ethylhexylglycerin" in [blend.name for blend in begun.blends]
    assert percents["PHENOXYETHANOL"] / percents["ETHYLHEXYLGLYCERIN"] == pytest.approx(9, rel=0.15)


def test_a_clay_mask_and_a_mineral_sun_cream_come_out_as_what_they_are() -> None:
    """Clay masks hold 20 to 40 % clay, mineral sun creams 12 to 25 % zinc oxide (common practice)."""
    clay, _ = start(CLAY, "clay mask")
    assert clay["KAOLIN"] + clay["BENTONITE"] >= 20
    sun, _ = start(SUN, "mineral sun cream")
    assert 12 <= sun["ZINC OXIDE"] <= 25


@pytest.mark.parametrize("known", [*known_lists()[::16], *held_out_lists()[::8]], ids=lambda known: known.id)
def test_every_list_starts_whole_and_says_what_cannot_be_met(known: KnownList) -> None:
    """Order, line and sum hold; what preserves and thickens reaches its amount, or the start says that it cannot.

    `infer-report` asks all lists.
    """
    found = infer(known.names, class_priors(), kind=known.kind)
    begun = start_from_label(known.names, found, [True] * len(known.names), known.product_type, on=DAY)
    assert begun is not None
    assert list(start_faults(known.names, begun)) == []
    judged = begun.preservation
    if (
        judged is not None
        and judged.status is Preserved.UNPRESERVED
        and all(r.rule != "preservation" for r in begun.start.unmet)
    ):
        meant = {inci_key(s.inci) for s in judged.systems if s.percent > 0.1}
        assert not meant or judged.gaps


@pytest.mark.parametrize(
    ("text", "blend", "ratio"),
    [
        (
            "Aqua, Cocos Nucifera Oil, Cetearyl Olivate, Glycerin, Sorbitan Olivate, Sodium Benzoate",
            "cetearyl olivate",
            1.5,
        ),
        (
            "Aqua, Caprylic/Capric Triglyceride, Glyceryl Stearate, PEG-100 Stearate, Phenoxyethanol",
            "glyceryl stearate",
            1,
        ),
    ],
)
def test_an_emulsifier_blend_is_started_with_as_it_is_bought(text: str, blend: str, ratio: float) -> None:
    """Cetearyl and sorbitan olivate 60:40, glyceryl and PEG-100 stearate 50:50 (table of blends)."""
    _, begun = start(text, "o/w cream")
    (bought,) = [one for one in begun.blends if one.name.startswith(blend)]
    first, second = (begun.percents[place] for place in bought.places)
    assert first / second == pytest.approx(ratio, rel=0.1)


def test_fatty_alcohol_may_stand_beside_its_emulsifying_wax() -> None:
    """Emulsifying wax holds polysorbate 60 and three times as much cetearyl alcohol; more is added at will."""
    text = "Aqua, Cetearyl Alcohol, Helianthus Annuus Seed Oil, Glycerin, Polysorbate 60, Phenoxyethanol"
    percents, begun = start(text, "o/w cream")
    assert [blend.name for blend in begun.blends] == ["emulsifying wax (cetearyl alcohol + polysorbate 60)"]
    assert percents["CETEARYL ALCOHOL"] >= 3 * percents["POLYSORBATE 60"] * 0.98


def test_names_in_no_ratio_of_a_blend_are_bought_alone() -> None:
    text = "Aqua, Caprylic/Capric Triglyceride, PEG-100 Stearate, Glycerin, Panthenol, Xanthan Gum, Glyceryl Stearate"
    names = read_list(text, LabelNames()).names
    known = {2: Known(8.0, 8.0), 6: Known(0.2, 0.2)}
    found = infer_label(names, known, "o/w cream")
    begun = start_from_label(found.names, found.inference, [True] * len(names), "o/w cream")
    assert begun is not None
    assert begun.blends == ()


@pytest.mark.parametrize(
    ("kind", "text", "limited", "most"),
    [
        (
            "hair mask",
            "Aqua, Cetearyl Alcohol, Cetrimonium Chloride, Glycerin, Panthenol, Sodium Benzoate, Citric Acid",
            "CETRIMONIUM CHLORIDE",
            2.5,  # Annex III entry 286, rinse-off hair products
        ),
        (
            "body lotion",
            "Aqua, Salicylic Acid, Caprylic/Capric Triglyceride, Glyceryl Stearate, Urea, Benzyl Alcohol, "
            "Sodium Hydroxide",
            "SALICYLIC ACID",
            0.5,  # Annex III entry 98, body lotion
        ),
        (
            "face cream",
            "Aqua, Glyceryl Stearate, Kojic Acid, Caprylic/Capric Triglyceride, Cetyl Alcohol, Phenoxyethanol",
            "KOJIC ACID",
            1.0,  # Annex III entry 375, face and hand products
        ),
        (
            "nappy cream",
            "Zinc Oxide, Paraffinum Liquidum, Lanolin, Petrolatum, Cera Alba, Tocopheryl Acetate",
            "ZINC OXIDE",
            25.0,  # Annex VI entry 30
        ),
    ],
)
def test_no_start_exceeds_the_legal_maximum_of_its_kind_of_product(
    kind: str, text: str, limited: str, most: float
) -> None:
    """Regulation (EC) 1223/2009; each of these names is likely far above its maximum by its place alone."""
    percents, begun = start(text, kind)
    assert most * 0.9 <= percents[limited] <= most
    assert sum(percents.values()) == pytest.approx(100)
    assert "law" in {move.rule for move in begun.start.moves}
    assert not [one for one in begun.start.unmet if one.rule == "law"]


def test_what_the_law_keeps_under_one_per_cent_drags_no_other_name_along() -> None:
    text = "Aqua, Salicylic Acid, Caprylic/Capric Triglyceride, Glyceryl Stearate, Urea, Benzyl Alcohol, Citric Acid"
    percents, begun = start(text, "body lotion")
    assert percents["CAPRYLIC/CAPRIC TRIGLYCERIDE"] >= 3
    assert begun.freed == {1}


def test_a_law_that_is_not_yet_in_force_lowers_nothing() -> None:
    """Annex III entry 381 (Regulation (EU) 2026/909) binds clay from 2027 on."""
    clay, _ = start(CLAY, "clay mask")
    assert clay["KAOLIN"] >= 10


def test_a_preservative_does_not_set_the_ph_and_a_base_stays_with_its_soap() -> None:
    """Salicylic acid is there to preserve; the acid printed to adjust is citric acid.

    Half a per cent of triethanolamine makes soap of stearic acid, which is what emulsifies this cream.
    """
    _, shampoo = start(
        "Aqua, Sodium Laureth Sulfate, Cocamidopropyl Betaine, Salicylic Acid, Sodium Benzoate, Citric Acid", "shampoo"
    )
    assert shampoo.ph.adjuster == 5
    cream, begun = start("Aqua, Stearic Acid, Glycerin, Cetyl Alcohol, Triethanolamine, Phenoxyethanol", "hand cream")
    assert begun.ph.adjuster is None
    assert cream["TRIETHANOLAMINE"] >= 0.2


def test_a_base_that_nothing_asks_for_is_left_out_and_not_weighed_at_ph_twelve() -> None:
    """A fiftieth of a per cent of sodium hydroxide in water that holds no pH is 5 mmol/kg: pH 11.7."""
    text = "Aqua, Glycerin, Caprylic/Capric Triglyceride, Niacinamide, Xanthan Gum, Phenoxyethanol, Sodium Hydroxide"
    percents, begun = start(text, "face cream")
    assert percents["SODIUM HYDROXIDE"] == 0
    assert "SODIUM HYDROXIDE" not in {target.key for target in begun.targets}
    assert [one.rule for one in begun.start.unmet] == ["pH"]


def test_a_depilatory_and_an_oxidative_dye_keep_their_alkali() -> None:
    """They work at pH 9 and above; the pH of the skin is no target for them (common practice)."""
    text = "Aqua, Cetearyl Alcohol, Ammonium Hydroxide, Ceteareth-20, Resorcinol, Sodium Sulfite, Ascorbic Acid"
    percents, begun = start(text, "hair dye, oxidative")
    assert begun.ph.target is None
    assert percents["AMMONIUM HYDROXIDE"] > 0.2


def test_isothiazolinones_are_bought_as_the_solution_that_is_sold() -> None:
    """The 3:1 mixture is sold with magnesium salts that no label prints; alone the second excludes the first."""
    text = (
        "Aqua, Sodium Laureth Sulfate, Sodium Chloride, Methylchloroisothiazolinone, Methylisothiazolinone, Citric Acid"
    )
    percents, begun = start(text, "hand wash")
    assert [one.name for one in begun.blends] == ["MCI/MI 3:1 solution 1.5 %"]
    ratio = percents["METHYLCHLOROISOTHIAZOLINONE"] / percents["METHYLISOTHIAZOLINONE"]
    assert ratio == pytest.approx(3, rel=0.1)
    assert all(target.keep for target in begun.targets if "ISOTHIAZOLINONE" in target.key)
