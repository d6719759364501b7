from dataclasses import replace
from decimal import Decimal

import pytest

from app.reference.rulebook import rulebook
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.rules.colourants import Colourant, ColourIndex, UseArea, check_colourants
from app.science.rules.names import rule_key
from app.science.rules.selectors import ingredients
from app.science.rules.values import Exposure, FormulaFacts, Severity, Source


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
    (over,) = of(ask({"CI 12085": "3.1234567"}, products=("lip",)), "CI 12085")
    assert over.limit == 3
    assert "3.1235 %, over the limit of 3 %" in over.what
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


LISTED = Colourant(
    "CI 12345", frozenset({rule_key("CI 12345")}), UseArea.ALL, "Red 99", "lips to 3 %; certified batches only",
    Source("invented"), us_barred=frozenset({"eye"}), us_only=frozenset({"lip", "face", "eye"}),
    us_max_percent=Decimal(3), us_max_for=frozenset({"lip"}),
)  # fmt: skip


def judged(percent, products=(), jurisdiction="US", exposure="leave-on", **changed):
    material = DosedMaterial("tint", Decimal(percent), (Part("CI 12345", Decimal(100), PartKind.COLOURANT),))
    book = rulebook(jurisdiction)
    present = ingredients([material], book.classes, book.facts_for(["CI 12345"]))
    formula = FormulaFacts((material,), Exposure(exposure), products=frozenset(products))
    entry = replace(LISTED, **changed)
    verdict = check_colourants(present, formula, ColourIndex([entry]), jurisdiction)
    return [f.severity.value for f in verdict.findings], bool(verdict.not_checked)


US = {
    "allowed there, of certified batches": (("1", ("face",)), {}, ["note"], False),
    "allowed there, of any batch": (("1", ("face",)), {"us_use": "generally"}, [], False),
    "barred there": (("1", ("eye",)), {}, ["stop"], False),
    "of another use": (("1", ("body",)), {}, ["stop"], False),
    "listed for every use": (("1", ("body",)), {"us_only": frozenset()}, ["note"], False),
    "at its highest amount": (("3", ("lip",)), {}, ["note"], False),
    "over its highest amount": (("3.01", ("lip",)), {}, ["stop"], False),
    "over the amount of another use": (("3.01", ("face",)), {}, ["note"], False),
    "for a use nobody named": (("1",), {}, [], True),
    "barred somewhere, for a use nobody named": (("1",), {"us_only": frozenset()}, [], True),
    "for every use, nobody named it": (("1",), {"us_only": frozenset(), "us_barred": frozenset()}, ["note"], False),
    "not listed at all": (("1", ("face",)), {"us_name": ""}, ["stop"], False),
}


@pytest.mark.parametrize(("asked", "changed", "severities", "unchecked"), US.values(), ids=US)
def test_the_us_judge_by_use_and_amount(asked, changed, severities, unchecked):
    assert judged(*asked, **changed) == (severities, unchecked)


EU = [
    (UseArea.ALL, "leave-on", (), [], False),
    (UseArea.NOT_EYES, "leave-on", (), [], True),
    (UseArea.NOT_EYES, "leave-on", ("eye",), ["stop"], False),
    (UseArea.NOT_EYES, "leave-on", ("lip",), [], False),
    (UseArea.NOT_MUCOUS, "leave-on", ("eye",), ["stop"], False),
    (UseArea.NOT_MUCOUS, "leave-on", ("oral",), ["stop"], False),
    (UseArea.NOT_MUCOUS, "leave-on", ("face",), [], False),
    (UseArea.RINSE_OFF, "leave-on", ("face",), ["stop"], False),
    (UseArea.RINSE_OFF, "rinse-off", (), [], False),
    (None, "leave-on", ("face",), ["stop"], False),
]


@pytest.mark.parametrize(("area", "exposure", "products", "severities", "unchecked"), EU)
def test_the_areas_of_annex_iv_bar_what_they_name(area, exposure, products, severities, unchecked):
    """Regulation (EC) 1223/2009, Annex IV, column g: all uses, not the eyes, not mucous membranes, rinse-off only."""
    assert judged("1", products, "EU", exposure, eu_area=area) == (severities, unchecked)
