"""A specification is read as people write it, and every line that is none is told."""

from decimal import Decimal

import pytest

from app.science.errors import Invalid
from app.science.specification import Check, read_specification


@pytest.mark.parametrize(
    ("line", "check"),
    [
        ("pH 4.5 to 5.5", Check("pH", Decimal("4.5"), Decimal("5.5"))),
        ("pH 4,5 - 5,5", Check("pH", Decimal("4.5"), Decimal("5.5"))),
        (
            "viscosity 3000 to 6000 mPa s (spindle 4, 20 rpm)",
            Check("viscosity", Decimal(3000), Decimal(6000), "mPa s", method="spindle 4, 20 rpm"),
        ),
        ("weight lost on drying at most 2 %", Check("weight lost on drying", None, Decimal(2), "%")),
        ("foam at least 120 mL", Check("foam", Decimal(120), None, "mL")),
        ("appearance: smooth, ivory", Check("appearance", words="smooth, ivory")),
        (
            "optional density 0.98 to 1.02 g/mL",
            Check("density", Decimal("0.98"), Decimal("1.02"), "g/mL", "", "", False),
        ),
    ],
)
def test_a_line_is_read_as_people_write_it(line: str, check: Check) -> None:
    assert read_specification(line) == (check,)


@pytest.mark.parametrize("text", ["smooth", "pH 6 to 5", "pH 4 to 5\nPH 5 to 6", "pH", "a: b\n" * 41, "pH 1.2.3 to 4"])
def test_what_is_no_check_is_told_at_its_field(text: str) -> None:
    with pytest.raises(Invalid) as told:
        read_specification(text)
    assert told.value.field == "specification"


@pytest.mark.parametrize(("value", "inside"), [("4.5", True), ("5.5", True), ("4.49", False), ("5.51", False)])
def test_both_limits_are_inside(value: str, inside: bool) -> None:
    assert read_specification("pH 4.5 to 5.5")[0].holds(Decimal(value)) is inside


def test_nothing_read_is_not_inside_and_words_are_judged_by_the_reader() -> None:
    number, words = read_specification("pH 4.5 to 5.5\nsmell: of roses")
    assert not number.holds(None)
    assert words.holds(None)
    assert (number.wanted, words.wanted) == ("4.5 to 5.5", "of roses")
