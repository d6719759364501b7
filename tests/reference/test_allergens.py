from decimal import Decimal

import pytest

from app.reference.allergens import allergen_entries, allergen_index, declared_allergens
from app.reference.inci_names import cas_is_sound
from app.reference.tables import read_table
from app.science.composition import AllergenShare, DosedMaterial, Part


def test_there_are_81_entries_each_once():
    entries = allergen_entries()
    assert len(entries) == len({e.label_name for e in entries}) == len({e.entry for e in entries}) == 81


def test_no_name_leads_to_two_entries():
    names = [name for entry in allergen_entries() for name in entry.names]
    assert len(names) == len(set(names))


def test_the_numbers_are_sound():
    assert all(cas_is_sound(number) for entry in allergen_entries() for number in entry.cas)


def test_other_names_belong_to_an_entry():
    labels = {e.label_name for e in allergen_entries()}
    rows = read_table("allergen_names", ("label_name", "other_name", "source_status"))
    assert {row["label_name"] for row in rows} <= labels


def test_the_united_states_have_no_entries():
    assert allergen_index("US").entries == ()


def test_the_label_asks_here():
    scent = Part("Parfum", Decimal(100), allergens=(AllergenShare("Linalool", Decimal(2)),))
    made = (DosedMaterial("scent", Decimal("0.5"), (scent,)),)
    assert [(d.label_name, d.percent) for d in declared_allergens(made, "leave-on", "EU")] == [
        ("Linalool", Decimal("0.01"))
    ]
    assert declared_allergens(made, "rinse-off", "EU") == ()
    assert declared_allergens(made, "leave-on", "US") == ()


def test_an_unknown_exposure_is_refused():
    with pytest.raises(ValueError, match="sideways"):
        declared_allergens((), "sideways", "EU")
