"""Expansion to substances keeps every gram, whatever the order of the lines and the case of the names."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.composition import DosedMaterial, Part, SubstanceTotal, expand
from app.science.names import inci_key

NAMES = ("Aqua", "Glycerin", "Phenoxyethanol", "Sodium Benzoate", "Cetearyl Alcohol", "Parfum")


def percents(highest: int = 100) -> st.SearchStrategy[Decimal]:
    return st.decimals(0, highest, places=4, allow_nan=False, allow_infinity=False)


def spelt(name: str) -> st.SearchStrategy[str]:
    return st.sampled_from((name, name.upper(), name.lower(), f"  {name.replace(' ', '   ')} "))


parts = st.builds(Part, inci=st.sampled_from(NAMES).flatmap(spelt), percent=percents())
materials = st.builds(
    DosedMaterial,
    name=st.text(max_size=5),
    percent=percents(),
    parts=st.lists(parts, max_size=4).map(tuple),
)
formulas = st.lists(materials, max_size=6)


def by_key(totals: tuple[SubstanceTotal, ...]) -> dict[str, Decimal]:
    return {inci_key(total.inci): total.percent for total in totals}


@given(formulas)
@settings(max_examples=60)
def test_mass_is_kept_exactly(formula: list[DosedMaterial]) -> None:
    weighed = sum((m.percent * p.percent / 100 for m in formula for p in m.parts), Decimal(0))
    assert sum((total.percent for total in expand(formula)), Decimal(0)) == weighed


@given(formulas)
@settings(max_examples=60)
def test_every_total_is_the_sum_of_what_its_materials_bring(formula: list[DosedMaterial]) -> None:
    totals = expand(formula)
    assert all(total.percent == sum(c.percent for c in total.contributions) for total in totals)
    assert sum(len(total.contributions) for total in totals) == sum(len(m.parts) for m in formula)


@given(formulas, st.randoms(use_true_random=False))
@settings(max_examples=60)
def test_the_order_of_the_lines_does_not_matter(formula: list[DosedMaterial], chance: object) -> None:
    shuffled = list(formula)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert by_key(expand(shuffled)) == by_key(expand(formula))


@given(formulas, st.sampled_from((str.upper, str.lower, str.title)))
@settings(max_examples=60)
def test_the_case_of_a_name_does_not_matter(formula: list[DosedMaterial], change: object) -> None:
    spelt_otherwise = [
        DosedMaterial(m.name, m.percent, tuple(Part(change(p.inci), p.percent) for p in m.parts))  # type: ignore[operator]
        for m in formula
    ]
    assert by_key(expand(spelt_otherwise)) == by_key(expand(formula))


@given(materials, percents(50), percents(50))
@settings(max_examples=60)
def test_a_material_weighed_in_two_goes_counts_once(material: DosedMaterial, one: Decimal, two: Decimal) -> None:
    twice = [DosedMaterial(material.name, share, material.parts) for share in (one, two)]
    once = [DosedMaterial(material.name, one + two, material.parts)]
    assert by_key(expand(twice)) == by_key(expand(once))


@given(st.lists(parts, min_size=1, max_size=4).map(tuple), percents())
@settings(max_examples=60)
def test_a_blend_counts_like_its_parts_weighed_apart(blend: tuple[Part, ...], dose: Decimal) -> None:
    apart = [DosedMaterial(p.inci, dose * p.percent / 100, (Part(p.inci, Decimal(100)),)) for p in blend]
    assert by_key(expand(apart)) == by_key(expand([DosedMaterial("blend", dose, blend)]))


def test_water_in_a_blend_is_water() -> None:
    formula = [
        DosedMaterial("water", Decimal(90), (Part("Aqua", Decimal(100)),)),
        DosedMaterial("panthenol 75 %", Decimal(10), (Part("Panthenol", Decimal(75)), Part("AQUA", Decimal(25)))),
    ]
    totals = expand(formula)
    assert [(t.inci, t.percent) for t in totals] == [("Aqua", Decimal("92.5")), ("Panthenol", Decimal("7.5"))]
    assert [(c.material, c.percent) for c in totals[0].contributions] == [
        ("water", 90),
        ("panthenol 75 %", Decimal("2.5")),
    ]


@pytest.mark.parametrize("formula", [[], [DosedMaterial("empty", Decimal(5), ())]])
def test_nothing_expands_to_nothing(formula: list[DosedMaterial]) -> None:
    assert expand(formula) == ()
