import pytest

from app.reference import compatibility
from app.reference.compatibility import classes, conditions, facts_for, trade_rules
from app.reference.rulebook import rulebook
from app.science.rules.values import Severity


def test_all_rules_of_the_tables_are_there():
    assert len([r for r in trade_rules() if r.startswith("C")]) == 52
    assert len([r for r in trade_rules() if r.startswith("P")]) == 11


def test_severities_are_the_three_of_the_answer():
    assert {r.severity for r in trade_rules().values()} == set(Severity)
    assert trade_rules()["C01"].severity == Severity.STOP
    assert trade_rules()["C05"].severity == Severity.CAUTION
    assert trade_rules()["C36"].severity == Severity.NOTE


def test_every_rule_says_why_what_to_do_and_who_says_so():
    for rule in trade_rules().values():
        assert rule.title
        assert rule.why
        assert rule.action
        assert rule.source_status in ("verified", "from memory", "common practice")


def test_conditions_bound_a_ph_the_right_way_round():
    both = [c for c in conditions() if c.ph_low is not None and c.ph_high is not None]
    assert both
    assert all(c.ph_low < c.ph_high for c in both)


def test_a_slip_in_a_class_name_is_refused():
    with pytest.raises(ValueError, match="compatibility_logic: unknown class sope"):
        compatibility.selector_of("compatibility_logic", "class:sope")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Behentrimonium Methosulfate", "cationic_surfactant"),
        ("Guar Hydroxypropyltrimonium Chloride", "cationic_polymer"),
        ("Sodium Lauroyl Methyl Isethionate", "anionic_surfactant"),
        ("Ceteareth-20", "emulsifier"),
        ("Isobutylparaben", "paraben"),
    ],
)
def test_names_fall_into_classes(name, expected):
    assert expected in classes().of(name)


def test_a_guar_quat_is_a_polymer_and_no_surfactant():
    assert "cationic_surfactant" not in classes().of("Guar Hydroxypropyltrimonium Chloride")


def test_the_library_answers_before_the_inventory():
    facts = facts_for(["Xanthan Gum", "Sodium Lauroyl Oat Amino Acids", "Nobody Knows"])
    assert facts["XANTHAN GUM"].group
    assert not facts["SODIUM LAUROYL OAT AMINO ACIDS"].group
    assert "surfactant - cleansing" in facts["SODIUM LAUROYL OAT AMINO ACIDS"].functions
    assert facts["NOBODY KNOWS"].functions == frozenset()


def test_the_use_range_of_a_solution_is_not_held_against_its_matter():
    assert facts_for(["Sodium Laureth Sulfate"])["SODIUM LAURETH SULFATE"].use_high is None


def test_other_markets_have_no_book():
    with pytest.raises(KeyError):
        rulebook("ATLANTIS")
