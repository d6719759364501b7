"""What a typed name may mean: the shelf before the library, and what taking a choice does."""

import pytest

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import NotFound
from app.work.formulas.suggesting import accept_suggestion, choices, suggest, unmatched
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material, load_material, put_on_shelf, retire


@pytest.fixture
def glycerin(store: Store) -> int:
    return add_material(store, MaterialForm(name="House glycerin", parts=(PartForm(inci="Glycerin", percent="100"),)))


def test_the_shelf_comes_before_the_library(store: Store, glycerin: int) -> None:
    found = suggest(store, "glycerin")
    assert (found[0].value, found[0].name, found[0].on_shelf) == (f"shelf:{glycerin}", "House glycerin", True)
    assert any(not one.on_shelf for one in found)


def test_what_is_called_so_in_the_library_goes_before_what_is_only_like_it_on_the_shelf(store: Store) -> None:
    for name, inci in (("Triethanolamine 99 %", "Triethanolamine"), ("Sodium hydroxide 10 %", "Sodium Hydroxide")):
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=inci, percent="100"),)))
    assert suggest(store, "tea tree")[0].value == "library:melaleuca-alternifolia-leaf-oil"
    assert suggest(store, "zinc oxide")[0].value == "library:zinc-oxide"
    assert suggest(store, "lye")[0].value == "shelf:2"
    assert suggest(store, "moon dust") == []
    own = put_on_shelf(store, "zinc-oxide")
    assert suggest(store, "zno")[0].value == f"shelf:{own}"


def test_a_solution_on_the_shelf_is_found_by_what_is_dissolved_and_by_what_the_library_calls_it(store: Store) -> None:
    lye = (PartForm(inci="Aqua", percent="90"), PartForm(inci="Sodium Hydroxide", percent="10"))
    own = add_material(store, MaterialForm(name="Our alkali", parts=lye))
    assert [suggest(store, text)[0].value for text in ("lye", "naoh", "caustic")] == [f"shelf:{own}"] * 3
    conditioner = put_on_shelf(store, "behentrimonium-methosulfate-50")
    assert suggest(store, "btms-50")[0].value == f"shelf:{conditioner}"


def test_no_solution_is_taken_unasked_for_a_name_that_the_undiluted_substance_has_too(store: Store) -> None:
    assert [one.name for one in choices(store, "naoh") if one.likely] == ["Caustic soda"]
    lye = (PartForm(inci="Aqua", percent="90"), PartForm(inci="Sodium Hydroxide", percent="10"))
    add_material(store, MaterialForm(name="Our alkali", parts=lye))
    assert [one.name for one in choices(store, "naoh")][:2] == ["Our alkali", "Caustic soda"]
    assert not any(one.sure or one.likely for one in choices(store, "naoh"))
    assert [one.name for one in choices(store, "vegetable glycerine") if one.likely] == ["Vegetable glycerol, 99.5 %"]
    assert not any(one.likely for one in choices(store, "mea"))


def test_of_several_that_begin_so_none_is_taken_unasked(store: Store) -> None:
    first, second = (
        MaterialForm(name=f"Preservative {n}", parts=(PartForm(inci="Aqua", percent="100"),)) for n in "AB"
    )
    add_material(store, first)
    assert [one.name for one in choices(store, "preservative") if one.likely] == ["Preservative A"]
    add_material(store, second)
    assert not any(one.likely for one in choices(store, "preservative"))


def test_what_is_retired_is_not_suggested(store: Store, glycerin: int) -> None:
    retire(store, glycerin)
    assert all(one.name != "House glycerin" for one in suggest(store, "house glycerin"))


def test_what_came_from_the_library_is_not_suggested_twice(store: Store) -> None:
    put_on_shelf(store, "glycerin")
    assert "library:glycerin" not in [one.value for one in suggest(store, "glycerin", 30)]


def test_only_the_very_name_or_the_only_inci_is_sure(store: Store, glycerin: int) -> None:
    assert [one.value for one in choices(store, "GLYCERIN") if one.sure] == [f"shelf:{glycerin}"]
    assert [one for one in choices(store, "glyc") if one.sure] == []


def test_a_library_material_goes_onto_the_shelf_once(store: Store) -> None:
    name = accept_suggestion(store, "library:glycerin", "glyc")
    assert accept_suggestion(store, "library:glycerin", "glyc") == name
    assert load_material(store, 1).name == name
    assert suggest(store, name)[0].on_shelf


def test_a_bare_name_becomes_a_material_of_that_name(store: Store) -> None:
    assert accept_suggestion(store, "bare", "Lake Blue 7") == "Lake Blue 7"
    material = load_material(store, 1)
    assert [(part.inci, part.percent) for part in material.parts] == [("Lake Blue 7", 100)]
    with pytest.raises(Invalid, match="already a material named"):
        accept_suggestion(store, "bare", "lake blue 7")


def test_choices_that_mean_nothing_change_nothing(store: Store) -> None:
    assert accept_suggestion(store, "shelf:99", "typed") == "typed"
    assert accept_suggestion(store, "nonsense", "typed") == "typed"
    with pytest.raises(NotFound):
        accept_suggestion(store, "library:no-such-thing", "typed")


def test_suggestions_for_open_lines_stop_after_the_first_few(store: Store) -> None:
    lines = [(f"l{n}", "glycerin") for n in range(30)]
    assert len(unmatched([("e", " "), *lines], store)) == 8


def test_an_open_line_is_offered_three_materials_at_most(store: Store) -> None:
    assert len(suggest(store, "oil")) > 3
    assert [len(found) for found in unmatched([("a", "oil")], store).values()] == [3]
