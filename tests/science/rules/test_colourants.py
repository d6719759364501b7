from decimal import Decimal

import pytest

from app.science.composition import DosedMaterial, Part, PartKind
from app.science.rules.values import Severity


def colour(name):
    return [DosedMaterial("tint", Decimal("0.1"), (Part(name, Decimal(100), PartKind.COLOURANT),))]


def of(verdict, name):
    return [
        f
        for f in verdict.findings
        if name in f.inci and ("Annex IV" in f.rule or f.rule.startswith(("21 CFR 73, ", "FD&C Act 601(e), 721")))
    ]


def test_a_colour_for_rinse_off_only_stops_a_cream(ask):
    assert of(ask(colour("CI 11725")), "CI 11725")[0].severity == Severity.STOP
    assert not of(ask(colour("CI 11725"), "rinse-off"), "CI 11725")


def test_a_colour_not_for_mucous_membranes_asks_for_the_use(ask):
    assert any("CI 59040" in line for line in ask(colour("CI 59040")).not_checked)
    assert of(ask(colour("CI 59040"), products=("lip",)), "CI 59040")[0].severity == Severity.STOP
    assert not of(ask(colour("CI 59040"), products=("body lotion",)), "CI 59040")


def test_a_colour_for_all_uses_is_silent(ask):
    verdict = ask(colour("CI 77491"))
    assert not of(verdict, "CI 77491")
    assert not any("Annex IV" in line for line in verdict.not_checked)


def test_a_number_that_the_whole_list_does_not_hold_is_not_allowed(ask):
    assert of(ask(colour("CI 12345")), "CI 12345")[0].severity == Severity.STOP
    assert any("Annex IV" in line for line in ask(colour("House colour")).not_checked)


def test_a_highest_amount_of_annex_iv(ask):
    """Annex IV entries 9 and 77: CI 12085 to 3 %, CI 45396 to 1 % in lip products."""
    assert not of(ask({"CI 12085": "3"}, products=("lip",)), "CI 12085")
    assert of(ask({"CI 12085": "3.1"}, products=("lip",)), "CI 12085")[0].limit == 3
    assert of(ask({"CI 45396": "1.5"}, products=("lip",)), "CI 45396")[0].severity == Severity.STOP
    assert not of(ask({"CI 45396": "1.5"}, products=("face",)), "CI 45396")


@pytest.mark.parametrize(("name", "severity"), [("CI 42090", Severity.NOTE), ("CI 10020", Severity.STOP)])
def test_the_united_states_list_their_own(ask, name, severity):
    assert severity in {f.severity for f in of(ask(colour(name), jurisdiction="US"), name)}


@pytest.mark.parametrize(("colour_name", "stopped"), [("CI 77491", False), ("CI 77019", False), ("CI 77007", True)])
def test_of_the_mineral_colours_only_ultramarines_are_kept_off_lips_in_the_us(ask, colour_name, stopped):
    """21 CFR 73.2725 to 73.2775: ultramarines for external use only, the others for cosmetics generally."""
    found = ask({colour_name: "2"}, jurisdiction="US", products=("lip",)).findings
    assert any(f.severity == Severity.STOP for f in found) is stopped
