import pytest

from app.store.engine import Store
from app.work.materials import shelf
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.material_search import PAGE, SearchedFor, find, functions_known

WATER = MaterialForm(name="Water", phase_hint="water", functions="solvent", parts=(PartForm("Aqua", "", "7732-18-5"),))
GLYCERIN = MaterialForm(
    name="House syrup",
    phase_hint="water",
    functions="humectant; solvent",
    parts=(PartForm("Glycerin", "", "56-81-5"),),
)
WAX = MaterialForm(name="Beeswax", phase_hint="oil", functions="emollient", parts=(PartForm("Cera Alba"),))


@pytest.fixture
def ids(store: Store) -> dict[str, int]:
    return {typed.name: shelf.add_material(store, typed) for typed in (WATER, GLYCERIN, WAX)}


def names(store: Store, **wanted: str) -> list[str]:
    return [m.name for m in find(store, SearchedFor(**wanted)).materials]


SEARCHES = [
    ("house", ["House syrup"]),
    ("glycerin", ["House syrup"]),
    ("glicerin", ["House syrup"]),
    ("56-81-5", ["House syrup"]),
    ("humectant", ["House syrup"]),
    ("beezwax", ["Beeswax"]),
    ("syrup house", ["House syrup"]),
    ("zzzz", []),
]


@pytest.mark.usefixtures("ids")
@pytest.mark.parametrize(("words", "expected"), SEARCHES)
def test_a_material_is_found_by_name_inci_cas_and_function(store: Store, words: str, expected: list[str]) -> None:
    assert names(store, words=words) == expected


def test_filters_narrow_what_is_listed(store: Store, ids: dict[str, int]) -> None:
    assert names(store) == ["Beeswax", "House syrup", "Water"]
    assert names(store, function="solvent") == ["House syrup", "Water"]
    assert names(store, phase="oil") == ["Beeswax"]
    shelf.retire(store, ids["Beeswax"])
    assert names(store) == ["House syrup", "Water"]
    assert names(store, state="retired") == ["Beeswax"]
    assert names(store, state="all") == ["Beeswax", "House syrup", "Water"]
    library = find(store, SearchedFor(function="chelating", phase="water")).library
    assert library
    assert all("chelating" in one.functions and one.phase_hint == "water" for one in library)


def test_the_library_is_offered_only_when_something_is_looked_for(store: Store) -> None:
    assert find(store, SearchedFor()).library_count == 0
    assert find(store, SearchedFor(words="glycerin")).library_count > 3
    assert find(store, SearchedFor(words="glycerin", state="retired")).library_count == 0


def test_what_stands_on_the_shelf_is_not_offered_again(store: Store) -> None:
    keys = [one.key for one in find(store, SearchedFor(words="glycerin")).library]
    material_id = shelf.put_on_shelf(store, "glycerin")
    found = find(store, SearchedFor(words="glycerin"))
    assert [one.key for one in found.library] == [key for key in keys if key != "glycerin"]
    shelf.retire(store, material_id)
    assert [one.key for one in find(store, SearchedFor(words="glycerin")).library] == keys


def test_a_change_is_found_at_once(store: Store, ids: dict[str, int]) -> None:
    assert names(store, words="tallow") == []
    stored = shelf.load_material(store, ids["Beeswax"])
    shelf.revise_material(store, stored.id, MaterialForm.of(stored).but(name="Tallow"), stored.row_version)
    assert names(store, words="tallow") == ["Tallow"]
    shelf.delete_unused(store, stored.id)
    shelf.add_material(store, WAX.but(name="Lanolin"))
    assert names(store, words="tallow") == []
    assert names(store, words="lanolin") == ["Lanolin"]


@pytest.mark.usefixtures("ids")
def test_a_guess_is_not_shown_beside_what_was_found_as_it_is_spelled(store: Store) -> None:
    shelf.add_material(store, WAX.but(name="Triethanolamine 99 %", parts=(PartForm("Triethanolamine"),)))
    found = find(store, SearchedFor(words="tea tree"))
    assert (found.materials, found.library[0].name, found.guessed) == ((), "Tea tree oil", False)
    nothing = find(store, SearchedFor(words="Moon dust"))
    assert (nothing.shelf_count, nothing.library_count) == (0, 0)


def test_long_lists_come_in_pages(store: Store) -> None:
    values = WATER.checked()
    with store.transaction() as session:
        for n in range(PAGE + 5):
            shelf.insert_material(session, values.but(name=f"Water {n:03}"))
    first, second, past = (find(store, SearchedFor(), page) for page in (1, 2, 99))
    assert (len(first.materials), len(second.materials), first.shelf_count) == (PAGE, 5, PAGE + 5)
    assert (first.shelf_count, past.page) == (PAGE + 5, 2)


def test_the_functions_to_choose_from_are_those_there_are(store: Store) -> None:
    shelf.add_material(store, WAX.but(functions="house secret"))
    known = functions_known(store)
    assert "house secret" in known
    assert "humectant" in known
    assert known == sorted(known)


@pytest.mark.sqlite
def test_a_material_that_takes_the_place_of_a_deleted_one_is_found(store: Store) -> None:
    first = shelf.add_material(store, WAX)
    assert names(store, words="beeswax") == ["Beeswax"]
    shelf.delete_unused(store, first)
    assert shelf.add_material(store, WAX.but(name="Lanolin")) == first
    assert names(store, words="lanolin") == ["Lanolin"]
