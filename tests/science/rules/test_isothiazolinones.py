from decimal import Decimal

import pytest

from app.science.composition import DosedMaterial, Part
from app.science.rules.values import Severity

ENTRY = "EU 1223/2009 Annex V entry 39"


def mixture(percent="0.1", chloro="1.125", other="0.375"):
    names = {"Methylchloroisothiazolinone": chloro, "Methylisothiazolinone": other}
    parts = tuple(Part(name, Decimal(share)) for name, share in names.items() if Decimal(share))
    return DosedMaterial("solution", Decimal(percent), parts)


def of(verdict):
    return [f for f in verdict.findings if f.rule == ENTRY]


def test_the_trade_mixture_at_its_limit_passes(ask):
    """Entry 39: 0.0015 % of a 3:1 mixture in rinse-off products."""
    assert not of(ask([mixture()], "rinse-off"))


def test_over_the_limit_the_sum_of_both_counts(ask):
    hit = of(ask([mixture("0.11")], "rinse-off"))[0]
    assert (hit.severity, hit.limit, hit.found) == (Severity.STOP, Decimal("0.0015"), Decimal("0.00165"))


def test_the_mixture_is_barred_from_leave_on(ask):
    assert of(ask([mixture("0.01")], "leave-on"))[0].severity == Severity.STOP


def test_the_second_one_alone_may_not_be_added(ask):
    extra = DosedMaterial("extra", Decimal("0.001"), (Part("Methylisothiazolinone", Decimal(10)),))
    hits = of(ask([mixture("0.05"), extra], "rinse-off"))
    assert any(h.severity == Severity.STOP and "extra" in h.message for h in hits)


def test_the_two_weighed_apart_at_the_right_ratio_are_the_mixture(ask):
    apart = [
        DosedMaterial(name, Decimal(percent), (Part(name, Decimal(100)),))
        for name, percent in (("Methylchloroisothiazolinone", "0.0009"), ("Methylisothiazolinone", "0.0003"))
    ]
    assert not of(ask(apart, "rinse-off"))


def test_another_ratio_is_pointed_out(ask):
    hit = of(ask([mixture("0.05", "0.75", "0.75")], "rinse-off"))[0]
    assert hit.severity == Severity.CAUTION
    assert "1:1" in hit.message


def test_the_first_one_alone_is_pointed_out(ask):
    assert "without any" in of(ask([mixture("0.05", "1", "0")], "rinse-off"))[0].message


@pytest.mark.parametrize(("other", "passes"), [("0.2", True), ("0.201", False), ("0.1428", False), ("0.14286", True)])
def test_a_seventh_either_way_of_three_to_one_is_let_pass(ask, other, passes):
    """0.5 to 0.2 is 2.5:1, and 0.5 to 0.14286 just under 3.5:1."""
    assert bool(of(ask([mixture("0.05", "0.5", other)], "rinse-off"))) is not passes


@pytest.mark.parametrize(("chloro", "passes"), [("0.0005", True), ("0.000499", False)])
def test_the_two_weighed_apart_may_be_as_little_as_two_and_a_half_to_one(ask, chloro, passes):
    apart = [
        DosedMaterial(name, Decimal(percent), (Part(name, Decimal(100)),))
        for name, percent in (("Methylchloroisothiazolinone", chloro), ("Methylisothiazolinone", "0.0002"))
    ]
    assert any(h.severity == Severity.STOP for h in of(ask(apart, "rinse-off"))) is not passes
