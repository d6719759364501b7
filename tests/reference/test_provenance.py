"""Every status is a known word, every table is accounted for, and what rests on memory can be listed."""

import csv
from collections import Counter
from pathlib import Path

import pytest

from app.reference import provenance as module
from app.reference.inci_names import cas_is_sound, inci_names
from app.reference.provenance import Provenance, Status, from_memory, least_sure, provenance_of
from app.reference.tables import FOLDER, read_table

OWN = [
    "ingredients",
    "blends",
    "blend_use",
    "densities",
    "hlb",
    "required_hlb",
    "sap",
    "fatty_acids",
    "fatty_acid_profiles",
    "synonyms",
    "inci_names",
]


def rows(table: str) -> list[dict[str, str]]:
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(line for line in handle if not line.startswith("#")))


@pytest.mark.parametrize(
    ("table", "count"),
    [
        ("ingredients", 430),
        ("blends", 170),
        ("blend_use", 11),
        ("densities", 176),
        ("hlb", 71),
        ("required_hlb", 62),
        ("sap", 62),
        ("fatty_acids", 15),
        ("fatty_acid_profiles", 33),
        ("inci_names", 28703),
    ],
)
def test_a_table_has_all_its_rows(table: str, count: int) -> None:
    assert len(rows(table)) == count


WORDS = {
    *Status,
    "",
    "lower value verified",
    "upper value verified",
    "not stated in the export; common practice",
    "verified (chemicals library 1.5.2)",
}


@pytest.mark.parametrize("table", OWN)
def test_every_status_is_a_known_word(table: str) -> None:
    met = {value for row in rows(table) for name, value in row.items() if name.endswith("status")}
    assert met <= WORDS


@pytest.mark.parametrize("table", OWN)
def test_no_cell_holds_stray_spaces_or_broken_letters(table: str) -> None:
    cells = [value for row in rows(table) for value in row.values()]
    assert [c for c in cells if c != c.strip() or "�" in c] == []


@pytest.mark.parametrize("table", ["hlb", "required_hlb", "sap", "fatty_acids", "fatty_acid_profiles"])
def test_a_name_stands_once_in_a_table_of_substances(table: str) -> None:
    names = Counter(row["inci_name"].upper() for row in rows(table))
    assert [name for name, count in names.items() if count > 1] == []


@pytest.mark.parametrize(
    ("table", "low", "typical", "high"),
    [
        ("hlb", "hlb_low", "hlb", "hlb_high"),
        ("required_hlb", "ow_low", "required_hlb_ow", "ow_high"),
        ("sap", "sap_mg_koh_low", "sap_mg_koh_typical", "sap_mg_koh_high"),
    ],
)
def test_a_typical_value_lies_in_its_range(table: str, low: str, typical: str, high: str) -> None:
    given = [row for row in rows(table) if row[low] or row[high]]
    assert given
    assert [r["inci_name"] for r in given if not float(r[low]) <= float(r[typical]) <= float(r[high])] == []


def test_33_cas_cells_of_the_inventory_are_not_sound_and_none_of_them_is_passed_on() -> None:
    """32 numbers fail the check digit and one cell holds two numbers; all are left as published in the file."""
    cells = [row["cas"] for row in read_table("inci_names", ("inci", "cas", "functions")) if row["cas"]]
    assert len([cell for cell in cells if not cas_is_sound(cell)]) == 33
    assert inci_names()["GLYCERYL LAURATE"].cas is None
    assert inci_names()["HYDROGENATED PALM KERNEL OIL"].cas == "84540-04-5"
    assert all(cas_is_sound(name.cas) for name in inci_names().values() if name.cas)


@pytest.mark.parametrize(
    ("number", "sound"),
    [
        ("7732-18-5", True),  # water, the example of Chemical Abstracts Service
        ("107-07-3", True),
        ("7732-18-4", False),
        ("27215-38-4", False),
        ("7732185", False),
        ("0732-18-5", False),
        ("", False),
        ("56-81-5\n", False),
        ("٥٦-٨١-٥", False),
    ],
)
def test_the_check_digit_of_a_cas_number(number: str, sound: bool) -> None:
    assert cas_is_sound(number) is sound


def test_a_value_that_follows_by_arithmetic_is_told_from_one_that_was_read() -> None:
    assert provenance_of("by definition of 200:1", "verified").status is Status.COMPUTED
    assert provenance_of("Ph. Eur.", "verified").status is Status.VERIFIED
    assert provenance_of("by definition", "from memory").status is Status.FROM_MEMORY
    with pytest.raises(ValueError, match="guessed"):
        provenance_of("somebody", "guessed")


def test_the_least_sure_of_several_sources_speaks_for_all() -> None:
    read, memory = Provenance("a", Status.VERIFIED), Provenance("b", Status.FROM_MEMORY)
    assert least_sure([read, memory, read]) == memory


def test_what_rests_on_memory_is_listed_value_by_value() -> None:
    listed = Counter((value.table, value.column) for value in from_memory())
    assert listed["ingredients", "cas"] == 7
    assert listed["ingredients", "density_g_ml"] == 171
    assert listed["ingredients", "active_matter_pct"] == 39
    assert listed["blends", "percent_typical"] == 125
    assert listed["densities", "density_g_ml"] == 102
    assert all(value.key and value.value and value.source for value in from_memory())


def test_a_verified_value_is_not_listed_and_a_remembered_one_is() -> None:
    keys = {(value.table, value.key, value.column) for value in from_memory()}
    assert ("densities", "Octyldodecanol, 2-octyldodecanol, 20", "density_g_ml") in keys
    assert ("densities", "Undecane, undecane, 20", "density_g_ml") not in keys
    assert ("ingredients", "Decyl Glucoside", "active_matter_pct") not in keys
    assert ("ingredients", "Sodium PCA", "active_matter_pct") in keys


def test_a_table_without_a_rule_counts_with_its_numbers_from_its_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "new.csv").write_text(
        "# a remark\nname,size,word,source,source_status\na,1.5,x,s,from memory\nb,2,y,s,verified\n", encoding="utf-8"
    )
    (tmp_path / "plain.csv").write_text("name,size\na,1\n", encoding="utf-8")
    (tmp_path / "new").mkdir()
    (tmp_path / "new.csv").rename(tmp_path / "new" / "EU.csv")
    (tmp_path / "new.csv").write_text("name,size,source_status\nold,1,from memory\n", encoding="utf-8")
    monkeypatch.setattr(module, "FOLDER", tmp_path)
    assert from_memory.__wrapped__() == (module.MemoryValue("new/EU", "a", "size", "1.5", "s"),)
