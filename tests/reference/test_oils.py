"""The tables of fats agree with arithmetic and with each other: factors, molar masses, profiles, iodine values."""

import csv

import pytest

from app.reference.tables import FOLDER

K, H, NA, O, C, I = 39.098, 1.008, 22.990, 15.999, 12.011, 126.904  # noqa: E741
KOH, NAOH = K + O + H, NA + O + H
GLYCEROL, WATER = 92.094, 18.015
ACIDS = [
    "C8_0",
    "C10_0",
    "C12_0",
    "C14_0",
    "C16_0",
    "C16_1",
    "C18_0",
    "C18_1",
    "C18_2",
    "C18_3",
    "C20_0",
    "C20_1",
    "C22_1",
    "ricinoleic",
]


def rows(table: str) -> list[dict[str, str]]:
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def saponification_value(acid_g_mol: float) -> float:
    """Milligrams of KOH for one gram of the triglyceride of an acid."""
    return 3 * KOH * 1000 / (3 * acid_g_mol + GLYCEROL - 3 * WATER)


MOLAR = {row["shorthand"].replace(":", "_"): float(row["molar_mass_g_mol"]) for row in rows("fatty_acids")}
DOUBLE = {row["shorthand"].replace(":", "_"): int(row["double_bonds"]) for row in rows("fatty_acids")}


def acid(column: str) -> str:
    return "C18_1-OH" if column == "ricinoleic" else column


@pytest.mark.parametrize("row", rows("fatty_acids"), ids=lambda r: r["shorthand"])
def test_a_fatty_acid_follows_from_its_atoms(row: dict[str, str]) -> None:
    carbons, double = int(row["carbons"]), int(row["double_bonds"])
    mass = C * carbons + 2 * H * (carbons - double) + O * (3 if "OH" in row["shorthand"] else 2)
    assert float(row["molar_mass_g_mol"]) == pytest.approx(mass, abs=0.02)
    assert float(row["acid_value_mg_koh_g"]) == pytest.approx(KOH * 1000 / mass, abs=0.1)
    assert float(row["sap_value_of_pure_triglyceride"]) == pytest.approx(saponification_value(mass), abs=0.1)
    assert float(row["iodine_value_of_acid"]) == pytest.approx(200 * I * double / mass, abs=0.1)


@pytest.mark.parametrize("row", rows("sap"), ids=lambda r: r["inci_name"])
def test_the_lye_factors_of_a_fat_are_one_number_in_two_units(row: dict[str, str]) -> None:
    koh = float(row["sap_mg_koh_typical"]) / 1000
    assert float(row["koh_g_per_g_typical"]) == pytest.approx(koh, abs=0.0005)
    assert float(row["naoh_g_per_g_typical"]) == pytest.approx(koh * NAOH / KOH, abs=0.0001)
    assert float(row["iodine_low"]) <= float(row["iodine_high"])


@pytest.mark.parametrize("row", rows("fatty_acid_profiles"), ids=lambda r: r["inci_name"])
def test_a_profile_adds_to_its_sum_and_nearly_to_100(row: dict[str, str]) -> None:
    total = sum(float(row[column] or 0) for column in ACIDS)
    assert total == pytest.approx(float(row["row_sum"]), abs=0.051)
    assert 92 <= total <= 103


SAP = {row["inci_name"]: row for row in rows("sap")}
BOTH = [row for row in rows("fatty_acid_profiles") if row["inci_name"] in SAP and "wax" not in row["source"]]


@pytest.mark.parametrize("row", BOTH, ids=lambda r: r["inci_name"])
def test_a_profile_agrees_with_the_measured_values_of_the_fat(row: dict[str, str]) -> None:
    """Within 3 mg/g and 8 iodine units of the published ranges, what the unsaponifiable part and rounding explain."""
    shares = {acid(column): float(row[column]) for column in ACIDS if row[column]}
    fat = SAP[row["inci_name"]]
    average = sum(shares.values()) / sum(share / MOLAR[name] for name, share in shares.items())
    assert float(fat["sap_mg_koh_low"]) - 3 <= saponification_value(average) <= float(fat["sap_mg_koh_high"]) + 3
    iodine = 0.957 * sum(share * DOUBLE[name] * 2 * I / MOLAR[name] for name, share in shares.items())
    assert float(fat["iodine_low"]) - 8 <= iodine <= float(fat["iodine_high"]) + 8


def test_enough_fats_are_in_both_tables_to_compare() -> None:
    assert len(BOTH) >= 25
