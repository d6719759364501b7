"""Covering a list with materials, proposing phases, comparing lists."""

from collections.abc import Iterable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.inference.compare_lists import compare_lists
from app.science.inference.cover import Cover, CoverLine, ShelfMaterial, Target, _without_crumbs, cover, substitutes
from app.science.inference.phases import Step, propose_phases

WATER = ShelfMaterial("water", "Water", {"AQUA": 100.0})
GLYCERIN = ShelfMaterial("glycerin", "Glycerin", {"GLYCERIN": 100.0})
PHENOXY = ShelfMaterial("pe", "Phenoxyethanol", {"PHENOXYETHANOL": 100.0})
PAIR = ShelfMaterial("pe9010", "Preservative 9:1", {"PHENOXYETHANOL": 90.0, "ETHYLHEXYLGLYCERIN": 10.0})
EXTRACT = ShelfMaterial("cal", "Calendula in glycerin", {"GLYCERIN": 65.0, "AQUA": 32.0, "CALENDULA EXTRACT": 3.0})
BETAINE = ShelfMaterial("capb", "Betaine 30 %", {"AQUA": 64.5, "BETAINE S": 30.0, "SODIUM CHLORIDE": 5.5})


def want(key: str, estimate: float, low: float | None = None, high: float | None = None, use: str = "") -> Target:
    return Target(key, key.title(), estimate, estimate / 2 if low is None else low, high or min(100, estimate * 2), use)


def used(steps: Iterable[Step]) -> tuple[str, ...]:
    return tuple(sorted({step.phase for step in steps}))


def doses(found: Cover) -> dict[str, float]:
    return {line.material.id: line.percent for line in found.lines}


def test_plain_materials_are_dosed_as_estimated() -> None:
    found = cover([want("AQUA", 94.0), want("GLYCERIN", 6.0)], [WATER, GLYCERIN])
    assert doses(found) == pytest.approx({"water": 94.0, "glycerin": 6.0})
    assert all(r.inside for r in found.reached)


@pytest.mark.parametrize(("low", "inside"), [(0.6, True), (0.61, False)])
def test_an_amount_beside_its_band_by_less_than_a_hundredth_is_as_good_as_inside(low: float, inside: bool) -> None:
    """Of 0.69 % of a blend with 86.67 and 8 % the parts are 0.598 and 0.055 %."""
    blend = ShelfMaterial("badha", "Blend", {"BENZYL ALCOHOL": 86.67, "DEHYDROACETIC ACID": 8.0, "AQUA": 5.33})
    wanted = [want("AQUA", 99.33), want("BENZYL ALCOHOL", 0.615, low, 0.63)]
    found = cover([*wanted, want("DEHYDROACETIC ACID", 0.0552, 0.0552, 0.0552)], [WATER, blend])
    (reached,) = [one for one in found.reached if one.wanted.key == "BENZYL ALCOHOL"]
    assert reached.percent == pytest.approx(0.598, abs=0.001)
    assert reached.inside is inside


def test_carriers_of_an_extract_count_and_the_sum_is_whole() -> None:
    wanted = [want("AQUA", 90.0), want("GLYCERIN", 9.9), want("CALENDULA EXTRACT", 0.1)]
    found = cover(wanted, [WATER, GLYCERIN, EXTRACT])
    assert doses(found)["cal"] == pytest.approx(0.1 / 0.03, rel=1e-3)
    assert sum(doses(found).values()) == pytest.approx(100)
    assert {r.wanted.key: r.percent for r in found.reached} == pytest.approx(
        {"AQUA": 90.0, "GLYCERIN": 9.9, "CALENDULA EXTRACT": 0.1}, abs=0.05
    )


def test_a_blend_covers_two_names_with_one_material() -> None:
    wanted = [want("AQUA", 99.0), want("PHENOXYETHANOL", 0.9), want("ETHYLHEXYLGLYCERIN", 0.1)]
    singles = [PHENOXY, ShelfMaterial("ehg", "Ethylhexylglycerin", {"ETHYLHEXYLGLYCERIN": 100.0})]
    assert doses(cover(wanted, [WATER, PAIR, *singles])) == pytest.approx({"water": 99.0, "pe9010": 1.0})


def test_the_own_shelf_goes_first() -> None:
    own = ShelfMaterial("mine", "My glycerin", {"GLYCERIN": 100.0}, own=True)
    assert "mine" in doses(cover([want("AQUA", 94.0), want("GLYCERIN", 6.0)], [WATER, GLYCERIN, own]))


def test_what_a_material_brings_unasked_is_said() -> None:
    found = cover([want("AQUA", 97.0), want("BETAINE S", 3.0)], [WATER, BETAINE])
    assert found.brought == pytest.approx({"SODIUM CHLORIDE": 0.55}, rel=1e-3)


def test_missing_and_dusting_names_are_reported() -> None:
    found = cover([want("AQUA", 99.0), want("RARE", 0.995), want("LINALOOL", 0.005)], [WATER])
    assert [w.key for w in found.missing] == ["RARE"]
    assert [w.key for w in found.dusting] == ["LINALOOL"]
    assert [(r.percent, r.inside) for r in found.reached if r.wanted.key != "AQUA"] == [(0.0, False)] * 2
    assert doses(found) == pytest.approx({"water": 100.0})


def test_left_out_names_are_not_bought() -> None:
    found = cover([want("AQUA", 94.0, high=100), want("GLYCERIN", 6.0)], [WATER, GLYCERIN], frozenset({"GLYCERIN"}))
    assert doses(found) == pytest.approx({"water": 100.0})


def test_an_empty_shelf_is_refused() -> None:
    with pytest.raises(Invalid, match="no material"):
        cover([want("AQUA", 100.0)], [])


def test_substitutes_do_the_same_work_and_the_own_shelf_stands_first() -> None:
    wanted = want("XANTHAN GUM", 0.5, use="thickener")
    shelf = [
        ShelfMaterial("a", "Agar", {"AGAR": 100.0}, class_name="thickener"),
        ShelfMaterial("g", "Guar", {"GUAR": 100.0}, own=True, class_name="thickener"),
        ShelfMaterial("x", "Xanthan", {"XANTHAN GUM": 100.0}, class_name="thickener"),
        ShelfMaterial("o", "Oil", {"OIL": 100.0}, class_name="oil"),
    ]
    assert [m.id for m in substitutes(wanted, shelf)] == ["g", "a"]


HINTS = {"oil": "oil", "naoh": "water", "gum": "water", "water": "water", "pe": "cool-down", "gly": "water", "w": "oil",
         "e": "cool-down"}  # fmt: skip


def placed(id_: str, name: str, percent: float, class_name: str) -> CoverLine:
    return CoverLine(ShelfMaterial(id_, name, {name: 100.0}, class_name=class_name), percent)


CREAM = [
    placed("oil", "Oil", 10, "oil"),
    placed("naoh", "Caustic soda", 0.1, "base"),
    placed("gum", "Xanthan", 0.3, "thickener"),
    placed("water", "Water", 85, "water"),
    placed("pe", "Phenoxyethanol", 0.9, "preservative"),
    placed("gly", "Glycerin", 3.7, "polyol"),
]


def test_a_cream_gets_water_oil_cool_down_and_adjusting_phases() -> None:
    steps = propose_phases(CREAM, HINTS)
    assert used(steps) == ("A", "B", "C", "D")
    assert [s.line.material.id for s in steps] == ["water", "gly", "gum", "oil", "pe", "naoh"]
    assert [s.number for s in steps] == [1, 2, 3, 4, 5, 6]


def test_powders_against_the_sun_are_wetted_in_the_oils_and_a_solved_acid_is_added_last() -> None:
    """Zinc oxide clumps in water and is ground into the oils (common practice)."""
    items = [*CREAM, placed("zno", "Zinc oxide", 12, "uv_filter"), placed("lactic", "Lactic acid", 0.2, "acid_active")]
    steps = {s.line.material.id: s.phase for s in propose_phases(items, HINTS | {"lactic": "adjusting"})}
    assert (steps["zno"], steps["lactic"]) == ("B", "D")
    dry = [one for one in items if one.material.id != "oil"]
    assert {s.line.material.id: s.phase for s in propose_phases(dry, HINTS)}["zno"] == "A"


def test_what_heat_harms_follows_the_melt_but_for_the_largest_of_a_phase() -> None:
    items = [*CREAM, placed("argan", "Argan oil", 2, "oil"), placed("ha", "Hyaluronate", 0.1, "thickener")]
    steps = {s.line.material.id: s.phase for s in propose_phases(items, HINTS, {"argan", "ha", "oil"})}
    assert (steps["argan"], steps["ha"], steps["oil"]) == ("C", "C", "B")
    gel = [one for one in items if one.material.class_name != "oil"]
    assert {s.line.material.id: s.phase for s in propose_phases(gel, HINTS, {"ha"})}["ha"] == "A"


def test_alkali_carries_its_caution_and_nothing_is_called_safe() -> None:
    steps = {s.line.material.id: s for s in propose_phases(CREAM, HINTS)}
    assert "never water to the alkali" in steps["naoh"].caution
    assert not any("safe" in s.caution.lower() or "safe" in s.how.lower() for s in steps.values())


def test_a_balm_is_one_melt_with_a_cool_down() -> None:
    items = [
        placed("w", "Wax", 20, "wax"),
        placed("t", "Talc", 10, "powder"),
        placed("e", "Oil", 1, "essential_oil"),
    ]
    assert used(propose_phases(items, HINTS)) == ("B", "C")


def test_comparison_names_what_is_missing_added_and_moved() -> None:
    found = compare_lists(["AQUA", "MEL", "UREA", "TALC"], ["AQUA", "UREA", "MEL", "SILICA"])
    assert found.missing == ("TALC",)
    assert found.added == ("SILICA",)
    assert len(found.moved) == 1
    assert not found.same_order


@given(st.lists(st.sampled_from("abcdefghij"), max_size=10, unique=True), st.data())
def test_kept_and_moved_names_are_the_shared_ones(first: list[str], data: st.DataObject) -> None:
    second = data.draw(st.permutations(first))
    found = compare_lists(first, second)
    assert sorted([*found.kept, *(m.name for m in found.moved)]) == sorted(first)
    places = [second.index(name) for name in found.kept]
    assert places == sorted(places)
    assert compare_lists(first, first).same_order


def test_a_second_material_does_not_top_up_crumbs() -> None:
    """A blend 90:10 whose targets are rounded to 0.5 and 0.06 is taken alone."""
    blend = ShelfMaterial("b", "Blend", {"P": 90.0, "E": 10.0}, own=True)
    alone = [ShelfMaterial("p", "P", {"P": 100.0}), ShelfMaterial("w", "Water", {"AQUA": 100.0})]
    found = cover([want("AQUA", 99.44), want("P", 0.5, 0.5, 0.515), want("E", 0.06, 0.06, 0.062)], [blend, *alone])
    assert set(doses(found)) == {"b", "w"}
    assert sum(doses(found).values()) == pytest.approx(100)


def test_a_hundredth_of_a_percent_can_be_weighed_and_less_is_dusting() -> None:
    """A gram in ten kilograms is 0.01 %."""
    shelf = [WATER, ShelfMaterial("a", "A", {"A": 100.0}), ShelfMaterial("b", "B", {"B": 100.0})]
    found = cover([want("AQUA", 99.98), want("A", 0.012), want("B", 0.008)], shelf)
    assert [w.key for w in found.dusting] == ["B"]
    assert set(doses(found)) == {"water", "a"}


def test_half_of_a_material_may_be_unasked_rather_than_an_amount_outside_its_band() -> None:
    """By hand: a point of A outside its band costs 30 / 5 = 6, and 2 % of the half and half 2 x 2 x 0.5 and a bit."""
    half = ShelfMaterial("half", "A in something else", {"A": 50.0, "X": 50.0})
    found = cover([want("AQUA", 90.0, 0.0), want("A", 10.0, 10.0, 10.0)], [WATER, half])
    assert doses(found)["half"] == pytest.approx(20)


def test_what_comes_unasked_is_not_worth_the_middle_of_a_wide_band() -> None:
    """By hand: a point of A within four of its middle is worth 1 / 4; it costs 2 x 0.1 / 0.9 unasked and 0.06 besides.

    Up to 9 % it is worth more, because without it there is more water than likely as well.
    """
    most = ShelfMaterial("most", "A, nine tenths", {"A": 90.0, "X": 10.0})
    found = cover([want("AQUA", 90.0, 0.0), want("A", 10.0, 6.0, 14.0)], [WATER, most])
    assert next(r.percent for r in found.reached if r.wanted.key == "A") == pytest.approx(9)


@pytest.mark.parametrize(("unasked", "taken"), [(1.0, "mine"), (3.0, "pure")])
def test_the_own_shelf_may_bring_a_little_unasked_before_anything_is_bought(unasked: float, taken: str) -> None:
    """By hand: buying costs 0.4 / 10 a per cent; 1 % unasked costs 0.02 and 3 % 0.06, what is owned next to nothing."""
    mine = ShelfMaterial("mine", "My A", {"A": 100 - unasked, "X": unasked}, own=True)
    pure = ShelfMaterial("pure", "Pure A", {"A": 100.0})
    assert set(doses(cover([want("AQUA", 90.0), want("A", 10.0)], [WATER, mine, pure]))) == {"water", taken}


def test_one_blend_is_bought_before_two_materials_unless_little_of_it_is_needed() -> None:
    """By hand, a per cent: the blend 0.4 x 1.25 / 8 = 0.0625, the two 0.4 / 10 and 0.4 / 4, on average 0.07."""
    blend = ShelfMaterial("blend", "A and B", {"A": 50.0, "B": 50.0})
    singles = [ShelfMaterial("a", "A", {"A": 100.0}), ShelfMaterial("b", "B", {"B": 100.0})]
    found = cover([want("AQUA", 86.0), want("A", 10.0), want("B", 4.0)], [WATER, blend, *singles])
    assert doses(found) == pytest.approx({"water": 86.0, "blend": 8.0, "a": 6.0})


def test_a_tenth_of_an_aim_is_no_crumb() -> None:
    blend = ShelfMaterial("b", "Blend", {"P": 90.0, "E": 10.0}, own=True)
    alone = [ShelfMaterial("p", "P", {"P": 100.0}), WATER]
    found = cover([want("AQUA", 99.45), want("P", 0.5, 0.5), want("E", 0.05, 0.05, 0.0501)], [blend, *alone])
    assert doses(found)["p"] == pytest.approx(0.05, rel=0.02)


@pytest.mark.parametrize(("water", "phases"), [(22.0, ("A", "B")), (15.0, ("B",))])
def test_from_a_fifth_of_water_on_there_is_a_water_phase(water: float, phases: tuple[str, ...]) -> None:
    """Common practice: with less water than that there is nothing to heat apart from the oils."""
    items = [placed("w", "Oil", 100 - water, "oil"), placed("water", "Water", water, "water")]
    assert used(propose_phases(items, {})) == phases


@pytest.mark.parametrize(("crumb", "left_out"), [(0.05, True), (0.0501, False)])
def test_what_tops_up_by_less_than_a_twentieth_of_an_aim_is_left_out(crumb: float, left_out: bool) -> None:
    """Half of the second material is P, of which 0.5 % is aimed at: a twentieth is 0.025 %, which 0.05 % of it give."""
    half = ShelfMaterial("half", "Half P", {"P": 50.0, "AQUA": 50.0})
    pure = ShelfMaterial("p", "P", {"P": 100.0})
    aimed = [want("AQUA", 99.5), want("P", 0.5)]
    doses = _without_crumbs(np.array([99.4, crumb, 0.5]), aimed, [WATER, half, pure])
    assert doses == pytest.approx([99.4 + crumb, 0.0, 0.5] if left_out else [99.4, crumb, 0.5])


def test_a_dose_that_gives_much_of_one_name_is_no_crumb_and_none_leaves_nothing_to_fill() -> None:
    pair = ShelfMaterial("pair", "P and E", {"P": 10.0, "E": 90.0})
    aimed = [want("AQUA", 99.0), want("P", 0.5), want("E", 0.01)]
    assert _without_crumbs(np.array([99.0, 0.01]), aimed, [WATER, pair]) == pytest.approx([99.0, 0.01])
    assert _without_crumbs(np.zeros(2), aimed, [WATER, pair]) == pytest.approx([0.0, 0.0])


def test_what_no_material_holds_is_filled_up_with_the_largest_and_with_nothing_unasked() -> None:
    """By hand: 24 % of filters that nothing holds leave 24 % more water, not a protein that nobody asked for."""
    protein = ShelfMaterial("protein", "Protein", {"AQUA": 77.0, "PROTEIN": 23.0})
    found = cover([want("AQUA", 66.0, 50.0, 70.0), want("A", 10.0), want("FILTER", 24.0)], [WATER, protein,
                  ShelfMaterial("a", "A", {"A": 100.0})])  # fmt: skip
    assert doses(found) == pytest.approx({"water": 90.0, "a": 10.0})
    assert [w.key for w in found.missing] == ["FILTER"]


def test_of_a_strong_and_a_weak_solution_the_strong_one_is_taken() -> None:
    """Three per cent of an alkali are 3 % of it, not 60 % of a solution of 5 %, which takes the place of the water."""
    weak = ShelfMaterial("weak", "A 5 %", {"A": 5.0, "AQUA": 95.0})
    strong = ShelfMaterial("strong", "A 50 %", {"A": 50.0, "AQUA": 50.0})
    found = cover([want("AQUA", 97.0), want("A", 3.0)], [WATER, weak, strong])
    assert doses(found) == pytest.approx({"water": 94.0, "strong": 6.0})


def test_what_melts_decides_whether_a_dry_mixture_is_heated() -> None:
    """A face powder and a perfume in alcohol are mixed cold; shea butter is melted (common practice)."""
    powder = [placed("t", "TALC", 90, "powder"), placed("o", "SQUALANE", 9, "oil"), placed("p", "PARFUM", 1, "perfume")]
    assert used(propose_phases(powder, {}, solid=set())) == ("A", "C")
    butter = [*powder, placed("s", "SHEA", 20, "oil")]
    assert used(propose_phases(butter, {}, solid={"s"})) == ("B",)


def test_oily_filters_go_into_the_oils_and_what_brings_the_water_is_the_water_phase() -> None:
    peroxide = CoverLine(ShelfMaterial("h", "Peroxide", {"AQUA": 97.0, "X": 3.0}, class_name="active"), 80.0)
    items = [peroxide, placed("f", "OCTOCRYLENE", 8, "uv_filter"), placed("s", "ENSULIZOLE SULFONIC ACID", 2,
             "uv_filter"), placed("w", "WAX", 10, "wax")]  # fmt: skip
    steps = {step.line.material.id: step.phase for step in propose_phases(items, {"h": "cool-down"})}
    assert (steps["h"], steps["f"]) == ("A", "B")


def test_a_powder_that_heat_harms_is_no_melt_though_it_is_the_most_of_all() -> None:
    """Soda gives off its carbon dioxide above 50 °C; a bath bomb is soda with a little melted oil (common practice)."""
    items = [placed("soda", "SODA", 60, "salt"), placed("oil", "COCONUT", 8, "oil")]
    steps = {step.line.material.id: step.phase for step in propose_phases(items, {}, {"soda"}, {"oil"})}
    assert steps == {"soda": "C", "oil": "B"}
