"""What is not known of a formula, each with its standard uncertainty worked out by hand."""

from dataclasses import replace

import pytest

from app.science.acid_base.inputs import InputKind, reserves
from app.science.acid_base.model import compile_model
from app.science.acid_base.values import MixtureLine, Reserve


def doubts(mixture, adjusters=()):
    return {one.name: one for one in compile_model(mixture, adjusters).inputs}


def test_a_hidden_reserve_counts_at_its_middle_with_its_range_as_ninety_percent():
    """10 % of a material with 1e-5 to 3e-5 mol/g: 2e-6 mol per gram of formula, ± 1e-6 / 1.645 in 0.8 kg of water."""
    bringing = MixtureLine("A juice", 10.0, reserve=Reserve(1e-5, 3e-5))
    fixed = MixtureLine("A base", 5.0, reserve=Reserve(2e-5, 2e-5))
    absent = MixtureLine("A ghost", 0.0, reserve=Reserve(1e-5, 3e-5))
    middle, inputs = reserves([bringing, fixed, absent, MixtureLine("Betaine", 5.0)], 8e-4)
    assert middle == pytest.approx(2e-6 + 1e-6)
    (doubt,) = inputs
    assert (doubt.name, doubt.kind, doubt.hidden) == ("acid or base hidden in A juice", InputKind.TRACE, True)
    assert doubt.sigma == pytest.approx(1e-6 / 1.645 / 8e-4)


def test_a_solution_scatters_more_than_a_solid_and_a_substance_by_what_is_known_of_it(mix):
    solid, solution = mix(("Citric Acid", 1.0)), mix(("Lactic Acid", 1.0, 88))
    assert doubts(solid)["the assay of Citric Acid"].sigma == solid.lines[0].substance.assay_uncertainty < 0.02
    assert doubts(solution)["the assay of Lactic Acid"].sigma >= 0.02
    rough = replace(
        solid, lines=(replace(solid.lines[0], substance=replace(solid.lines[0].substance, assay_uncertainty=0.07)),)
    )
    assert doubts(rough)["the assay of Citric Acid"].sigma == 0.07
    both = mix(("Citric Acid", 1.0), ("Citric Acid", 2.0, 50))
    assert doubts(both)["the assay of Citric Acid"].sigma == pytest.approx(0.02)


@pytest.mark.parametrize("warmth", [15.0, 35.0])
def test_a_pka_of_unknown_enthalpy_drifts_by_the_degree_an_acid_less_than_an_amine(mix, warmth):
    """0.012 per degree, 0.3 of it for a neutral acid: ten degrees away they are 0.12 and 0.036, beside 0.05 at 25."""
    for name, charge, drift in (("Citric Acid", 0, 0.036), ("Tromethamine", 1, 0.12)):
        mixture = mix((name, 0.5), temperature_c=warmth)
        substance = mixture.lines[0].substance
        family = replace(substance.families[0][0], uncertainty=0.05, enthalpy_known=False)
        assert family.charge == charge
        for known, sigma in ((False, (0.05**2 + drift**2) ** 0.5), (True, 0.05)):
            one = replace(substance, families=((replace(family, enthalpy_known=known), 1.0),))
            changed = replace(mixture, lines=(replace(mixture.lines[0], substance=one),))
            assert doubts(changed)[f"the pKa of {family.name}"].sigma == pytest.approx(sigma)


def test_a_polymer_is_doubted_in_its_acid_its_pka_and_its_slope(mix, solution):
    mixture = mix(("Carbomer", 0.5))
    polymer, found = mixture.lines[0].substance.polymer, doubts(mixture, (solution("Sodium Hydroxide", 10),))
    assert found["the acid content of Carbomer"].sigma == polymer.equivalent_uncertainty
    assert found["the apparent pKa of Carbomer"].sigma == polymer.pk_uncertainty
    assert found["the titration slope of Carbomer"].sigma == pytest.approx(polymer.slope_uncertainty / polymer.slope)
    assert found["the strength of the Sodium Hydroxide solution"].sigma == 0.02


@pytest.mark.parametrize(
    ("name", "kind", "per_g"),
    [
        ("Sodium Benzoate", InputKind.TRACE, 5e-6),  # European Pharmacopoeia: half its limit of acidity or alkalinity
        ("Sodium Chloride", InputKind.TRACE, 6e-7),
        ("Tromethamine", InputKind.ACID_TRACE, 5e-6),  # an amine takes up acid from the air, never alkali
        ("Citric Acid", None, 0),
        ("Sodium Hydroxide", None, 0),
    ],
)
def test_a_salt_or_an_amine_brings_traces_by_its_grams(mix, name, kind, per_g):
    """1 % in 99 % of water, or the water of what it is: about 10.1 g per kg of water."""
    found = doubts(mix((name, 1.0))).get(f"traces of acid or alkali in {name}")
    assert (found and found.kind) is kind
    if found:
        assert found.sigma == pytest.approx(per_g * 10.1, rel=0.01)
