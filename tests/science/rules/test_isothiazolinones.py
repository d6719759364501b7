from decimal import Decimal

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
