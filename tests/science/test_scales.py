"""Which scale a weight goes on, with capacities and steps worked out by hand."""

from decimal import Decimal

import pytest

from app.science.errors import Invalid
from app.science.scales import Scale, check_scales, choose, least_resolved_g

D = Decimal
FINE = Scale(D("0.001"), D(50), "fine")
BENCH = Scale(D("0.1"), D(2000), "bench", vessel_g=D(300))
FLOOR = Scale(D(5), D(60000), "floor")


@pytest.mark.parametrize(
    ("scale", "room"),
    [
        (Scale(D("0.1")), None),
        (BENCH, 1700),
        (Scale(D("0.1"), D(300), vessel_g=D("299.9")), D("0.1")),  # one step is left beside the vessel
        (Scale(D("0.1"), D(300), vessel_g=D("299.95")), 300),  # too heavy a vessel counts as none
        (Scale(D("0.1"), D(300), vessel_g=D(400)), 300),
    ],
)
def test_a_vessel_takes_its_part_of_the_capacity(scale: Scale, room: Decimal | None) -> None:
    assert scale.room_g == room


@pytest.mark.parametrize(("grams", "holds"), [("1700", True), ("1699.91", True), ("1700.01", False), ("0", True)])
def test_a_weight_is_held_when_it_fits_rounded_up_to_the_step(grams: str, holds: bool) -> None:
    assert BENCH.holds(D(grams)) is holds


@pytest.mark.parametrize(
    ("step", "places"),
    [("0.001", 3), ("0.0100", 2), ("0.1", 1), ("1", 0), ("5", 0), ("10", 0), ("0.05", 2), ("1E+1", 0)],
)
def test_a_scale_shows_the_decimals_of_its_step(step: str, places: int) -> None:
    assert Scale(D(step)).places == places


@pytest.mark.parametrize(("grams", "percent"), [("10", "0.5"), ("1", "5"), ("100", "0.05"), ("0", None)])
def test_half_a_step_is_the_doubt_of_a_reading(grams: str, percent: str | None) -> None:
    """Half of 0.1 g is 0.05 g, 0.5 % of 10 g."""
    assert BENCH.resolution_percent(D(grams)) == (None if percent is None else D(percent))


@pytest.mark.parametrize(
    ("grams", "scale", "portions"),
    [
        ("50", FINE, 1),
        ("50.0001", BENCH, 1),
        ("1700", BENCH, 1),
        ("1700.1", FLOOR, 1),
        ("60000", FLOOR, 1),
        ("60001", FLOOR, 2),
        ("120000", FLOOR, 2),
        ("120001", FLOOR, 3),
    ],
)
def test_the_finest_scale_that_holds_a_weight_is_chosen_else_the_largest_in_portions(
    grams: str, scale: Scale, portions: int
) -> None:
    for scales in ([FINE, BENCH, FLOOR], [FLOOR, BENCH, FINE]):
        found = choose(D(grams), scales)
        assert (found.scale, found.portions) == (scale, portions)


def test_of_two_scales_as_large_the_finer_takes_the_portions() -> None:
    rough, fine = Scale(D(1), D(100), "rough"), Scale(D("0.1"), D(100), "fine")
    for scales in ([rough, fine], [fine, rough]):
        found = choose(D(250), scales)
        assert (found.scale, found.portions) == (fine, 3)


def test_the_least_weight_is_ten_steps_of_a_scale_that_holds_them() -> None:
    assert least_resolved_g([BENCH, FINE, FLOOR]) == D("0.01")
    assert least_resolved_g([BENCH, FLOOR]) == 1
    # Nine steps are all this one weighs; the next holds its ten.
    assert least_resolved_g([Scale(D("0.01"), D("0.09")), BENCH]) == 1
    assert least_resolved_g([Scale(D("0.01"), D("0.09"))]) == D("0.1")


@pytest.mark.parametrize(
    ("scales", "field"),
    [
        ([], "scales"),
        ([BENCH, Scale(D(0))], "scales[1].readability_g"),
        ([Scale(D(-1))], "scales[0].readability_g"),
        ([Scale(D(1), D("0.9"))], "scales[0].capacity_g"),
        ([Scale(D(1), D(1))], None),
    ],
)
def test_a_scale_that_makes_no_sense_is_named(scales: list[Scale], field: str | None) -> None:
    if field is None:
        check_scales(scales)
        return
    with pytest.raises(Invalid) as wrong:
        check_scales(scales)
    assert wrong.value.field == field
