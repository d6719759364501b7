"""The shipped substances: the table is whole, and each value says where it comes from."""

import dataclasses
from collections.abc import Mapping
from decimal import Decimal

import pytest

from app.reference.inci_names import cas_is_sound
from app.reference.library import COLUMNS, Substance, find_substance, substances
from app.reference.provenance import Provenance, Status
from app.reference.tables import read_table
from app.science.names import inci_key

ALL = tuple(substances().values())


def test_the_table_has_430_substances_and_no_name_twice() -> None:
    assert len(read_table("ingredients", COLUMNS)) == len(substances()) == 430


def test_the_mapping_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        substances()["AQUA"] = ALL[1]  # type: ignore[index]
    with pytest.raises(dataclasses.FrozenInstanceError):
        ALL[0].inci = "x"  # type: ignore[misc]


def test_every_cas_number_has_its_check_digit() -> None:
    numbers = [n for s in ALL for n in (s.cas, *s.cas_alt) if n]
    assert [n for n in numbers if not cas_is_sound(n)] == []
    assert sum(s.cas is not None for s in ALL) == 419


@pytest.mark.parametrize(("low", "high"), [("use_low", "use_high"), ("ph_min", "ph_max")])
def test_ranges_are_in_order(low: str, high: str) -> None:
    pairs = [(s.inci, getattr(s, low), getattr(s, high)) for s in ALL]
    assert [p for p in pairs if (p[1] is None) != (p[2] is None)] == []
    assert [p for p in pairs if p[1] is not None and p[1] >= p[2]] == []


@pytest.mark.parametrize(
    ("name", "lowest", "highest"),
    [
        ("use_low", "0", "100"),
        ("use_high", "0", "100"),
        ("ph_min", "0", "14"),
        ("ph_max", "0", "14"),
        ("max_temp_c", "20", "100"),
        ("natural_origin_index", "0", "1"),
        ("density_g_ml", "0.7", "1.8"),
        ("active_matter_pct", "0.5", "99.9"),
        ("molar_mass_g_mol", "15", "2000"),
    ],
)
def test_numbers_lie_where_such_a_number_can_lie(name: str, lowest: str, highest: str) -> None:
    values = [(s.inci, getattr(s, name)) for s in ALL if getattr(s, name) is not None]
    assert values
    assert [v for v in values if not Decimal(lowest) <= v[1] <= Decimal(highest)] == []


def test_words_come_from_their_small_vocabularies() -> None:
    assert {s.phase_hint for s in ALL} == {"water", "oil", "cool-down", "either"}
    assert {s.charge for s in ALL} == {"none", "nonionic", "anionic", "cationic", "amphoteric"}
    assert {row["electrolyte"] for row in read_table("ingredients", COLUMNS)} == {"yes", "no"}
    assert len({s.group for s in ALL}) == 15


def test_every_given_value_has_a_source_and_every_source_a_value() -> None:
    for substance in ALL:
        given = {name for name in substance.sources if getattr(substance, name) not in (None, "", ())}
        assert given == set(substance.sources)
        assert all(p.source and isinstance(p.status, Status) for p in substance.sources.values())


def count(name: str, status: Status) -> int:
    return sum(s.sources[name].status is status for s in ALL if name in s.sources)


@pytest.mark.parametrize(
    ("name", "status", "rows"),
    [
        ("inci", Status.VERIFIED, 430),
        ("cas", Status.VERIFIED, 412),
        ("cas", Status.FROM_MEMORY, 7),
        ("functions", Status.VERIFIED, 428),
        ("use_low", Status.VERIFIED, 31),
        ("use_high", Status.VERIFIED, 49),
        ("ph_min", Status.VERIFIED, 9),
        ("max_temp_c", Status.VERIFIED, 2),
        ("molar_mass_g_mol", Status.VERIFIED, 158),
        ("natural_origin_index", Status.VERIFIED, 0),
    ],
)
def test_as_many_values_are_verified_as_were_checked(name: str, status: Status, rows: int) -> None:
    assert count(name, status) == rows


def test_one_verified_end_of_a_range_does_not_vouch_for_the_other() -> None:
    alcohol = substances()["CETYL ALCOHOL"]
    assert alcohol.sources["use_low"].status is Status.COMMON_PRACTICE
    assert alcohol.sources["use_high"].status is Status.VERIFIED
    assert "cream" in alcohol.sources["use_high"].source


@pytest.mark.parametrize(
    ("name", "inci"),
    [
        ("water", "Aqua"),
        ("Aqua (Water)", "Aqua"),
        ("EAU", "Aqua"),
        ("  glycerin ", "Glycerin"),
        ("56-81-5", "Glycerin"),
        ("baking soda", "Sodium Bicarbonate"),
        ("Glycerine", "Glycerin"),
        ("Mineral Oil", "Paraffinum Liquidum"),
        ("CI 77947", "CI 77947"),
    ],
)
def test_a_substance_is_found_by_its_other_names(name: str, inci: str) -> None:
    found = find_substance(name)
    assert found is not None
    assert found.inci == inci


@pytest.mark.parametrize("name", ["", "   ", "no such thing", "9005-25-8", "Iron Oxides"])
def test_an_unknown_name_or_a_number_that_several_share_finds_nothing(name: str) -> None:
    assert find_substance(name) is None


def test_the_key_of_each_substance_is_its_name() -> None:
    table: Mapping[str, Substance] = substances()
    assert all(key == inci_key(value.inci) for key, value in table.items())


def test_provenance_is_a_value() -> None:
    assert Provenance("a", Status.VERIFIED) == Provenance("a", Status.VERIFIED)
