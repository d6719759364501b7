"""The shipped densities: in their ranges, with the published values at their temperatures."""

from decimal import Decimal

import pytest

from app.reference.densities import COLUMNS, densities, grade_densities
from app.reference.library import substances
from app.reference.provenance import Status
from app.reference.tables import read_table

ALL = tuple(value for values in densities().values() for value in values)


def test_the_table_has_176_densities_75_of_them_from_a_source() -> None:
    assert len(ALL) == len(read_table("densities", COLUMNS)) == 176
    assert sum(v.provenance.status in (Status.VERIFIED, Status.COMPUTED) for v in ALL) == 75


def test_every_density_is_possible_and_lies_in_its_own_range() -> None:
    assert all(Decimal("0.7") < v.g_ml < Decimal("1.7") for v in ALL)
    ranged = [v for v in ALL if v.low is not None or v.high is not None]
    assert ranged
    assert all(v.low is not None and v.high is not None and v.low <= v.g_ml <= v.high for v in ranged)


def test_every_density_states_its_temperature_and_no_liquid_is_measured_twice_at_one() -> None:
    keys = [(v.inci, v.grade, v.temperature_c) for v in ALL]
    assert len(set(keys)) == len(keys)
    assert all(v.temperature_c is not None and 5 <= v.temperature_c <= 50 for v in ALL)


def test_a_solution_says_its_strength_in_the_column_and_in_its_name() -> None:
    strong = [v for v in ALL if v.strength_percent is not None]
    assert len(strong) == 37
    assert all(0 < v.strength_percent < 100 for v in strong)  # type: ignore[operator]
    assert [v.grade for v in strong if "%" not in v.grade and "active" not in v.grade] == []


def test_warm_liquids_are_lighter() -> None:
    for values in densities().values():
        for grade in {v.grade for v in values}:
            ordered = sorted((v for v in values if v.grade == grade), key=lambda v: v.temperature_c or 0)
            falling = [v.g_ml for v in ordered]
            assert falling == sorted(falling, reverse=True)


@pytest.mark.parametrize(
    ("inci", "temperature", "strength", "g_ml"),
    [
        ("Aqua", 20, None, "0.99821"),  # IAPWS-95
        ("aqua", 25, None, "0.99705"),
        ("Aqua", 22, None, "0.99821"),
        ("Glycerin", 20, None, "1.2613"),  # VDI Heat Atlas
        ("Glycerin", 25, None, "1.2581"),
        ("Glycerin", 20, 98, "1.256"),
        ("Alcohol", 20, None, "0.8074"),  # OIML R 22, 96 % v/v: the grade usually sold
        ("Alcohol", 20, 100, "0.7894"),
        ("Sodium Hydroxide", 20, 10, "1.1085"),  # Laliberte 2009
        ("Sodium Laureth Sulfate", 20, None, "1.05"),
        ("Cocos Nucifera Oil", 40, None, "0.913"),
    ],
)
def test_the_density_of_a_liquid(inci: str, temperature: int, strength: int | None, g_ml: str) -> None:
    measured = {value.temperature_c or Decimal(20): value.g_ml for value in grade_densities(inci, strength)}
    nearest = min(measured, key=lambda at: abs(at - temperature))
    assert measured[nearest] == Decimal(g_ml)
    assert abs(nearest - temperature) <= 5


@pytest.mark.parametrize(
    ("inci", "temperature", "strength"),
    [
        ("Sodium Hydroxide", 20, None),  # a solid: only its solutions have one
        ("Cocos Nucifera Oil", 20, None),  # measured melted
        ("Sodium Hydroxide", 20, 33),
        ("Xanthan Gum", 20, None),
        ("no such thing", 20, None),
    ],
)
def test_no_density_is_guessed(inci: str, temperature: int, strength: int | None) -> None:
    assert not [v for v in grade_densities(inci, strength) if abs((v.temperature_c or 20) - temperature) <= 5]


def test_the_two_tables_agree_on_the_grade_usually_sold() -> None:
    apart = [
        s.inci
        for s in substances().values()
        if s.density_g_ml is not None
        for v in grade_densities(s.inci)[:1]
        if abs(v.g_ml / s.density_g_ml - 1) > Decimal("0.005")
    ]
    assert apart == ["Paraffinum Liquidum"]  # the light grade against the heavy one
