"""What has to be read of a batch, and within which limits."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.science.formula import Formula
from app.science.specification import Check
from app.science.tolerance import checks_of


def formula(target: str | None, *checks: Check) -> Formula:
    return replace(Formula(()), target_ph=None if target is None else Decimal(target), checks=checks)


@pytest.mark.parametrize(
    ("target", "low", "high"),
    [("5.5", "5.2", "5.8"), ("0.3", "0", "0.6"), ("0.1", "0", "0.4"), ("12", "11.7", "12.3")],
)
def test_the_ph_may_lie_three_tenths_around_its_target(target: str, low: str, high: str) -> None:
    (check,) = checks_of(formula(target))
    assert (check.what, check.low, check.high) == ("pH", Decimal(low), Decimal(high))


def test_limits_that_are_written_go_before_the_target() -> None:
    written = Check("pH", Decimal(4), Decimal(5))
    assert checks_of(formula("5.5", written)) == (written,)


def test_without_a_target_only_what_is_written_is_read() -> None:
    colour = Check("Colour")
    assert checks_of(formula(None)) == ()
    assert checks_of(formula(None, colour)) == (colour,)
    assert [check.what for check in checks_of(formula("5.5", colour))] == ["pH", "Colour"]
