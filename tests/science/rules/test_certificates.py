"""Certificates of perfumes: one of the 49th amendment reads 5A 2.52, 5C 0.73, 9 1.49, 1 0.98 %."""

from decimal import Decimal

import pytest

from app.reference.product_kinds import words_for
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.errors import Invalid
from app.science.rules.certificates import CertifiedDose, check_certificates, read_certificate, write_certificate
from app.science.rules.values import Severity

D = Decimal
ONE = read_certificate("5A: 2.52; 5C: 0.73; 9: 1.49; 1: 0.98")


@pytest.mark.parametrize(
    ("category", "passes"),
    [("5A", True), ("9", True), ("5C", False), ("1", False)],
    ids=["lotion", "wash", "hand", "lip"],
)
def test_one_per_cent_of_a_perfume_by_category(category, passes):
    found = check_certificates([CertifiedDose("Rose accord", D(1), ONE)], category)
    assert [f.severity for f in found] == ([] if passes else [Severity.CAUTION])
    assert all(f.limit == ONE[category] and f.found == 1 for f in found)


def test_two_perfumes_each_within_its_limit_can_be_too_much_together():
    doses = [CertifiedDose("Rose accord", D("1.6"), ONE), CertifiedDose("Wood accord", D(1), {"5A": D(2)})]
    (found,) = check_certificates(doses, "5A")
    assert found.severity == Severity.CAUTION
    assert abs(found.found - (D("1.6") / D("2.52") + D("0.5"))) < D("0.0001")
    assert not check_certificates([CertifiedDose("A", D(1), ONE), CertifiedDose("B", D("0.2"), {"5A": D(2)})], "5A")


def test_a_category_that_the_certificate_lacks_is_a_note():
    (found,) = check_certificates([CertifiedDose("Rose accord", D("0.1"), ONE)], "4")
    assert found.severity == Severity.NOTE
    assert "category 4" in found.what


def test_without_a_kind_or_a_certificate_nothing_is_said():
    assert not check_certificates([CertifiedDose("Rose accord", D(9), ONE)], "")
    assert not check_certificates([CertifiedDose("Rose accord", D(9), {})], "5A")


def test_it_is_read_and_written_in_order():
    assert write_certificate(read_certificate("9 = 1,5\n4: 12.50 %; 5a: 0")) == "4: 12.5; 5A: 0; 9: 1.5"


@pytest.mark.parametrize("text", ["5E: 1", "rose", "4: lots", "4: 1; 4: 2", "4: 101", "4: -1"])
def test_what_is_no_certificate_is_refused_at_its_field(text):
    with pytest.raises(Invalid) as caught:
        read_certificate(text, "certificate")
    assert caught.value.field == "certificate"


def test_a_certificate_that_was_entered_is_no_longer_asked_for(ask):
    """One perfume of two with its certificate leaves the other to be asked for; both, and the line is gone."""

    def asked_for(*certified: str) -> list[str]:
        scent = (Part("Parfum", D(100), kind=PartKind.PERFUME),)
        mixture = [DosedMaterial(name, D(1), scent) for name in ("Rose", "Fig")]
        found = ask(mixture, products=words_for("body lotion"), certified=frozenset(certified))
        return [line for line in found.not_checked if "perfume certificate" in line]

    assert asked_for()
    assert asked_for("Rose")
    assert not asked_for("Rose", "Fig")
