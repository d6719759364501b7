"""What to start from: the checks of a formula hold, and products come out as what they are."""

from itertools import pairwise

import pytest

from app.reference.corpus import known_lists
from app.reference.inference_prior import class_priors
from app.reference.label_inference import infer_label
from app.reference.label_names import LabelNames
from app.reference.label_start import LabelStart, start_from_label
from app.reference.preservatives import preservatives
from app.reference.thickeners import thickener_of
from app.science.acid_base.gel import GelState
from app.science.inference.infer import infer
from app.science.label_list.reading import read_list
from app.science.names import inci_key
from app.science.preservation import Preserved

CREAM = (
    "Aqua, Glycerin, Cetearyl Alcohol, Caprylic/Capric Triglyceride, Glyceryl Stearate, Butyrospermum Parkii Butter, "
    "PEG-100 Stearate, Dimethicone, Phenoxyethanol, Carbomer, Ethylhexylglycerin, Disodium EDTA, Sodium Hydroxide"
)
CLAY = "Aqua, Kaolin, Glycerin, Bentonite, Benzyl Alcohol, Xanthan Gum, Dehydroacetic Acid, Citric Acid"
SUN = (
    "Aqua, Zinc Oxide, Caprylic/Capric Triglyceride, C12-15 Alkyl Benzoate, Polyglyceryl-3 Diisostearate, Glycerin, "
    "Magnesium Sulfate, Phenoxyethanol, Tocopherol"
)


def start(text: str, kind: str) -> tuple[dict[str, float], LabelStart]:
    names = read_list(text, LabelNames()).names
    found = infer_label(names, {}, kind)
    begun = start_from_label(found.names, found.inference, [True] * len(names), kind)
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


def test_a_blend_bought_as_one_keeps_its_ratio() -> None:
    """Phenoxyethanol and ethylhexylglycerin 90:10, as the blend is sold (table of blends)."""
    percents, begun = start(CREAM, "o/w cream")
    assert [blend.name for blend in begun.blends] == ["phenoxyethanol + ethylhexylglycerin"]
    assert percents["PHENOXYETHANOL"] / percents["ETHYLHEXYLGLYCERIN"] == pytest.approx(9, rel=0.15)


def test_a_clay_mask_and_a_mineral_sun_cream_come_out_as_what_they_are() -> None:
    """Clay masks hold 20 to 40 % clay, mineral sun creams 12 to 25 % zinc oxide (common practice)."""
    clay, _ = start(CLAY, "clay mask")
    assert clay["KAOLIN"] + clay["BENTONITE"] >= 20
    sun, _ = start(SUN, "mineral sun cream")
    assert 12 <= sun["ZINC OXIDE"] <= 25


@pytest.mark.parametrize("known", known_lists()[::16], ids=lambda known: known.id)
def test_every_list_starts_whole_and_says_what_cannot_be_met(known) -> None:  # type: ignore[no-untyped-def]
    """Order, line and sum hold; what is meant to preserve reaches its amount, or the start says that it cannot."""
    found = infer(known.names, class_priors(), kind=known.kind)
    begun = start_from_label(known.names, found, [True] * len(known.names), known.product_type)
    assert begun is not None
    assert sum(begun.percents) == pytest.approx(100, abs=1e-4)
    chain = [p for p, name in zip(begun.percents, known.names, strict=True) if not name.colour]
    above = begun.start.above_line
    assert all(a >= b - 1e-6 for a, b in pairwise(chain[:above]))
    rules = {r.rule for r in begun.start.unmet}
    for requirement in begun.requirements:
        if len(requirement.terms) == 1 and requirement.rule == "preservation" and requirement.rule not in rules:
            (place,) = requirement.terms
            assert begun.percents[place] >= requirement.low * 0.994
    judged = begun.preservation
    if judged is not None and judged.status is Preserved.UNPRESERVED and "preservation" not in rules:
        meant = {inci_key(s.inci) for s in judged.systems if s.percent > 0.1}
        assert not meant or judged.gaps
